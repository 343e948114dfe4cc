// Poses a block of vertices a work group, from storage buffers. OpenGL 4.3.
layout(local_size_x = BLOCK) in;
layout(std430, binding = 0) readonly buffer Neutral { float neutral[]; };
layout(std430, binding = 1) writeonly buffer Positions { float positions[]; };
layout(std430, binding = 2) readonly buffer Starts { uint starts[]; };
layout(std430, binding = 3) readonly buffer Entries { uvec2 entries[]; };
layout(std430, binding = 4) readonly buffer Amounts { float amounts[]; };
layout(std430, binding = 5) readonly buffer Values { float values[]; };
uniform uint n_vertices;

uint start_of(uint block) { return starts[block]; }
uvec2 entry_of(uint i) { return entries[i]; }
float amount_of(uint row) { return amounts[row]; }
float value_of(uint i) { return values[i]; }

#include "pose_morph.glsl"

void main() {
    uint vertex = (gl_WorkGroupID.y * gl_NumWorkGroups.x + gl_WorkGroupID.x) * BLOCK + gl_LocalInvocationID.x;
    if (vertex >= n_vertices) return;
    uint at = 3u * vertex;
    vec3 place = posed(vertex, vec3(neutral[at], neutral[at + 1u], neutral[at + 2u]));
    positions[at] = place.x;
    positions[at + 1u] = place.y;
    positions[at + 2u] = place.z;
}
