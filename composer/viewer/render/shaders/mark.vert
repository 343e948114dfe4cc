// A point of a polygon as a disc of constant size in pixels.
layout(location = 0) in ivec4 corners;
layout(location = 1) in vec4 bary;
layout(location = 2) in vec4 tint;
layout(location = 3) in float across;

uniform samplerBuffer positions;
uniform float stride;
uniform mat4 to_clip;
uniform vec3 eye;
uniform vec2 size;
uniform float lift;
uniform float pixel_mm;

out vec2 spot;
flat out vec4 ink;
flat out float radius;

vec3 at(int vertex) {
    int start = vertex * int(stride + 0.5);
    return vec3(texelFetch(positions, start).r, texelFetch(positions, start + 1).r, texelFetch(positions, start + 2).r);
}

void main() {
    vec3 point = bary.x * at(corners.x) + bary.y * at(corners.y) + bary.z * at(corners.z) + bary.w * at(corners.w);
    vec4 whole = to_clip * vec4(point + (lift + 0.5 * across * pixel_mm) * normalize(eye - point), 1.0);
    radius = 0.5 * across;
    ink = tint;
    spot = vec2((gl_VertexID & 1) == 1 ? 1.0 : -1.0, gl_VertexID >= 2 ? 1.0 : -1.0) * (radius + 2.5);
    whole.xy += spot / (0.5 * size) * whole.w;
    gl_Position = whole;
}
