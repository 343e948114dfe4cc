"""The strip of time under the head: playing, the lane in which time runs, and the keys of a clip."""
