"""What a head is made of and how it stands, told from form and motion: pieces, eyes, jaws, sheets, frame, landmarks.

No rule here knows a name, a count or an absolute length of any one library. Lengths are shares of the skin's box
diagonal, called its size, so that a head in a wrong unit is understood all the same.
"""
