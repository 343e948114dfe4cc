// The smooth normal of one vertex, gathered from texture buffers, for transform feedback. OpenGL 3.3.
layout(location = 0) in vec3 here;
out vec3 result;
uniform samplerBuffer positions;
uniform usamplerBuffer rings;
uniform usamplerBuffer edges;

uint ring_of(uint vertex) { return texelFetch(rings, int(vertex)).x; }
uvec2 edge_of(uint i) { return texelFetch(edges, int(i)).xy; }
vec3 place_of(uint vertex) {
    int at = 3 * int(vertex);
    return vec3(
        texelFetch(positions, at).x, texelFetch(positions, at + 1).x, texelFetch(positions, at + 2).x
    );
}

#include "pose_normals.glsl"

void main() {
    result = smooth_normal(uint(gl_VertexID), here);
}
