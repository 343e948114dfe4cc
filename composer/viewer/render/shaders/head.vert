// A vertex of the head: where it is seen, and all of the light that changes slowly, as composer.picture.light has it:
// sky, floor, fill and rim, dimmed by how open the place is.
layout(location = 0) in vec3 position;
layout(location = 1) in vec3 normal;
layout(location = 2) in vec4 material;  // albedo in linear light, sheen
layout(location = 3) in float openness;
layout(location = 4) in vec4 cover;     // sRGB, how much
layout(location = 5) in vec4 ball;      // direction from the eyeball's centre, in its gaze frame; which eyeball
layout(location = 6) in float lit;      // how much of the window it sees

uniform mat4 to_clip;
uniform vec3 eye;
uniform vec3 window;
uniform vec3 fill;
uniform vec3 rim;
uniform vec3 sky_light;
uniform vec3 floor_light;
uniform vec3 fill_light;
uniform vec3 rim_light;
uniform vec3 bleed_tint;

#ifdef MOVING
uniform vec3 window_light;

out Place {
    vec3 front;    // the light of its outer side, and of its inner side
    vec3 back;
} place;

#include "bone.glsl"

vec3 side_light(vec3 n, vec3 tint, vec3 ambient, vec3 toward, float outer) {
    vec3 albedo = material.rgb * tint;
#ifdef COVERED
    vec3 linear = cover.rgb * (cover.rgb * (cover.rgb * 0.305306011 + 0.682171111) + 0.012522878);
    albedo = mix(albedo, linear, cover.a);
    float bare = 1.0 - cover.a;
#else
    float bare = 1.0;
#endif
    vec3 light = by_window(n, albedo, ambient, openness, lit) + gleam(n, toward, material.a, lit) * outer * bare;
    return light + (1.0 - bare) * 0.55 * (albedo * 0.85 - light);
}
#else
out Place {
    vec3 normal;
    vec3 toward;   // half way between eye and window; for eyeballs from the eye
    vec4 material;
    vec3 ambient;
    vec2 free;     // how open, and how much of the window it sees
#ifdef COVERED
    vec4 cover;    // linear light times how much, how much
#endif
#ifdef EYE
    vec3 ball;
    flat int which;
#endif
#ifdef TEXTURED
    vec2 uv;
#endif
} place;
#endif

void main() {
    vec3 sight = normalize(position - eye);
    float above = 0.5 + 0.5 * normal.y;
    float filled = clamp(dot(normal, fill) * 0.7 + 0.3, 0.0, 1.0);
    float rimmed = clamp(dot(normal, rim), 0.0, 1.0);
    vec3 warm = clamp(1.0 + 0.64 * (1.0 - openness) * (bleed_tint - 1.0), vec3(0.5), vec3(1.3));
    vec3 around = sky_light * (above * (0.75 + 0.25 * above)) + floor_light * (1.0 - above) + fill_light * filled;
    vec3 ambient = openness * (warm * around + rim_light * (rimmed * rimmed));
#ifdef MOVING
    vec3 toward = normalize(window - sight);
    place.front = side_light(normal, vec3(1.0), ambient, toward, 1.0);
    place.back = side_light(-normal, vec3(0.55, 0.42, 0.38), ambient, toward, 0.0);
#else
    place.normal = normal;
    place.material = material;
    place.ambient = ambient;
    place.free = vec2(openness, lit);
#ifdef EYE
    place.toward = position - eye;
    place.ball = ball.xyz;
    place.which = int(ball.w);
#else
    place.toward = normalize(window - sight);
#endif
#ifdef COVERED
    vec3 linear = cover.rgb * (cover.rgb * (cover.rgb * 0.305306011 + 0.682171111) + 0.012522878);
    place.cover = vec4(linear * cover.a, cover.a);
#endif
#ifdef TEXTURED
    place.uv = vec2(0.0);
#endif
#endif
    gl_Position = to_clip * vec4(position, 1.0);
}
