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

#ifdef MOVING
uniform vec3 window_light;

out Place {
    vec3 front;    // the light of its outer side, and of its inner side
    vec3 back;
} place;

#include "skin.glsl"

vec3 side_light(vec3 n, vec3 tint, vec3 ambient, vec3 toward, float sees, float outer) {
    vec3 albedo = material.rgb * tint;
#ifdef COVERED
    vec3 linear = cover.rgb * (cover.rgb * (cover.rgb * 0.305306011 + 0.682171111) + 0.012522878);
    albedo = mix(albedo, linear, cover.a);
    float bare = 1.0 - cover.a;
#else
    float bare = 1.0;
#endif
    vec3 light = by_window(n, albedo, ambient, openness, sees, bare) + gleam(n, toward, material.a, sees) * outer * bare;
    return light + (1.0 - bare) * EVEN * (albedo * EVEN_LIGHT - light);
}
#else
out Place {
    vec3 normal;
    vec3 toward;   // half way between eye and window; for eyeballs from the eye
    vec4 material;
    vec3 ambient;
    vec3 free;     // how open, how much of the window it sees, and how much of the sky its edge mirrors
#ifdef COVERED
    vec4 cover;    // linear light times how much, how much
#endif
#ifdef EYE
    vec3 ball;
    flat int which;
#endif
#ifdef SOFT
    vec3 world;
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
    float shade = WARM * (1.0 - openness) + WARM_SHADE * (1.0 - lit);
    vec3 warm = clamp(1.0 + shade * (BLEED - 1.0), vec3(0.5), vec3(1.3));
    vec3 around = sky_light * (above * (0.75 + 0.25 * above)) + floor_light * (1.0 - above) + fill_light * filled;
    vec3 ambient = openness * (warm * around + rim_light * (rimmed * rimmed));
    float edge = 1.0 - abs(dot(normal, sight));
    float glance = material.a > 0.0 ? VELVET * edge * edge * edge * above * (0.75 + 0.25 * above) * openness : 0.0;
#ifdef MOVING
    vec3 toward = normalize(window - sight);
#ifdef COVERED
    glance *= 1.0 - cover.a;
#endif
    place.front = side_light(normal, vec3(1.0), ambient, toward, lit, 1.0) + glance * sky_light;
    place.back = side_light(-normal, INSIDE, BACK_OPEN * ambient, toward, BACK_LIT * lit, 0.0);
#else
    place.normal = normal;
    place.material = material;
    place.ambient = ambient;
    place.free = vec3(openness, lit, glance);
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
#ifdef SOFT
    place.world = position;
#endif
#ifdef TEXTURED
    place.uv = vec2(0.0);
#endif
#endif
    gl_Position = to_clip * vec4(position, 1.0);
}
