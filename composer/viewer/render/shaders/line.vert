// A segment between two points of triangles, as a strip of constant width in pixels with round ends.
layout(location = 0) in ivec3 from;    // the three vertices of one end
layout(location = 1) in ivec3 to;      // and of the other
layout(location = 2) in vec4 shares;   // of the second and third of them, at either end
layout(location = 3) in vec2 ways;     // the way so far in mm, at either end

uniform samplerBuffer positions;
uniform float stride;
uniform mat4 to_clip;
uniform vec3 eye;
uniform vec2 size;
uniform float width;
uniform float lift;

out vec2 spot;       // along and across the segment, in pixels
flat out float span; // its length, in pixels
out float way;

vec3 at(int vertex) {
    int start = vertex * int(stride + 0.5);
    return vec3(texelFetch(positions, start).r, texelFetch(positions, start + 1).r, texelFetch(positions, start + 2).r);
}

vec4 seen(ivec3 corners, vec2 share) {
    vec3 point = (1.0 - share.x - share.y) * at(corners.x) + share.x * at(corners.y) + share.y * at(corners.z);
    return to_clip * vec4(point + lift * normalize(eye - point), 1.0);
}

void main() {
    vec4 a = seen(from, shares.xy);
    vec4 b = seen(to, shares.zw);
    vec2 pixel_a = a.xy / a.w * 0.5 * size, pixel_b = b.xy / b.w * 0.5 * size;
    vec2 forward = pixel_b - pixel_a;
    span = length(forward);
    forward = span > 1e-4 ? forward / span : vec2(1.0, 0.0);
    float reach = 0.5 * width + 1.0;
    bool last = gl_VertexID >= 2;
    float side = (gl_VertexID & 1) == 1 ? 1.0 : -1.0;
    spot = vec2(last ? span + reach : -reach, side * reach);
    way = last ? ways.y : ways.x;
    vec4 whole = last ? b : a;
    vec2 shift = forward * (last ? reach : -reach) + vec2(-forward.y, forward.x) * side * reach;
    whole.xy += shift / (0.5 * size) * whole.w;
    gl_Position = whole;
}
