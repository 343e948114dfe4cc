// Poses one vertex, from texture buffers, for transform feedback. OpenGL 3.3.
layout(location = 0) in vec3 neutral;
out vec3 result;
uniform usamplerBuffer starts;
uniform usamplerBuffer entries;
uniform samplerBuffer amounts;
uniform samplerBuffer values;

uint start_of(uint block) { return texelFetch(starts, int(block)).x; }
uvec2 entry_of(uint i) { return texelFetch(entries, int(i)).xy; }
float amount_of(uint row) { return texelFetch(amounts, int(row)).x; }
float value_of(uint i) { return texelFetch(values, int(i)).x; }

#include "pose_morph.glsl"

void main() {
    result = posed(uint(gl_VertexID), neutral);
}
