// Smooth normals of a block of vertices a work group, gathered from storage buffers. OpenGL 4.3.
layout(local_size_x = BLOCK) in;
layout(std430, binding = 0) readonly buffer Positions { float positions[]; };
layout(std430, binding = 1) writeonly buffer Normals { float normals[]; };
layout(std430, binding = 2) readonly buffer Rings { uint rings[]; };
layout(std430, binding = 3) readonly buffer Edges { uvec2 edges[]; };
uniform uint n_vertices;

uint ring_of(uint vertex) { return rings[vertex]; }
uvec2 edge_of(uint i) { return edges[i]; }
vec3 place_of(uint vertex) {
    uint at = 3u * vertex;
    return vec3(positions[at], positions[at + 1u], positions[at + 2u]);
}

#include "pose_normals.glsl"

void main() {
    uint vertex = (gl_WorkGroupID.y * gl_NumWorkGroups.x + gl_WorkGroupID.x) * BLOCK + gl_LocalInvocationID.x;
    if (vertex >= n_vertices) return;
    vec3 normal = smooth_normal(vertex, place_of(vertex));
    uint at = 3u * vertex;
    normals[at] = normal.x;
    normals[at + 1u] = normal.y;
    normals[at + 2u] = normal.z;
}
