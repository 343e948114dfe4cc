// Skin by a window, as in composer.picture.light: the window's own light, its gleam, and film's answer.
in Place {
    vec3 normal;
    vec3 toward;
    vec4 material;
    vec3 ambient;
    vec3 free;
#ifdef COVERED
    vec4 cover;
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

uniform vec3 window;
uniform vec3 window_light;
uniform vec3 sky_light;
#ifdef TEXTURED
uniform sampler2D skin;
#endif
#ifdef EYE
uniform vec3 across;
uniform vec3 upward;
uniform vec2 window_half;
uniform mat3 turns[4];     // from an eyeball's gaze frame to the head's
uniform vec4 lids[4 * LID_PLACES]; // per eyeball, along x: how high the upper and the lower lid stand
uniform vec3 eye_colours[6];
int place_which;
#include "eye.glsl"
#endif

out vec4 colour;

#include "skin.glsl"
#ifdef SOFT
#include "soft.glsl"
#endif

#ifdef EYE
vec3 to_srgb(vec3 x) { // within one step of 255
    vec3 a = sqrt(max(x, vec3(0.0)));
    vec3 b = sqrt(a);
    return a * (1.76670596 + a * (0.39788573 * a - 0.93630062)) - 0.22439743 * b;
}

vec3 develop(vec3 light) {
    vec3 exposed = light * EXPOSURE;
    vec3 over = max(exposed - SHOULDER, vec3(0.0)) / (1.0 - SHOULDER);
    return min(exposed, vec3(SHOULDER)) + (1.0 - SHOULDER) * (1.0 - exp(-over));
}
#else
#include "film.glsl"
#endif

void main() {
    vec3 albedo = place.material.rgb;
    vec3 ambient = place.ambient;
    float open = place.free.x, lit = place.free.y;
#ifdef EYE
    vec3 sight = normalize(place.toward);
    place_which = place.which;
    mat3 turn = turns[place.which];
    float pixel = length(vec2(dFdx(place.ball.y), dFdy(place.ball.y))) * 0.5;
    Seen seen = seen_of(place.ball, sight * turn, turn, window * turn, pixel);
    vec3 n = seen.lit_by;
    albedo = seen.albedo;
    float shade = open_of(seen);
    ambient *= shade / max(open, 0.08);
    open = shade;
    lit = smoothstep(SHADOW_FROM, SHADOW_TO, seen.below);
#ifdef SOFT
    lit = min(lit, sees_window(place.world, n));
#endif
    float mirror = on_eye(seen, sight, open, lit);
#else
    vec3 n = normalize(place.normal);
#ifdef TEXTURED
    albedo = texture(skin, place.uv).rgb;
#endif
    float front = gl_FrontFacing ? 1.0 : 0.0;
    n *= 2.0 * front - 1.0;
    albedo *= mix(INSIDE, vec3(1.0), front);
    ambient *= mix(BACK_OPEN, 1.0, front);
    lit *= mix(BACK_LIT, 1.0, front);
#ifdef SOFT
    float sky = min(open, sees_sky(place.world, n));
    ambient *= sky / max(open, 0.08);
    open = sky;
    lit = front * sees_window(place.world, n);
#endif
#endif
#ifdef COVERED
    float bare = 1.0 - place.cover.a;
    albedo = albedo * bare + place.cover.rgb;
#else
    float bare = 1.0;
#endif
    vec3 light = by_window(n, albedo, ambient, open, lit, bare);
#ifndef EYE
    light += (gleam(n, place.toward, place.material.a, lit) + place.free.z * sky_light) * (front * bare);
#endif
#ifdef COVERED
    light += place.cover.a * EVEN * (albedo * EVEN_LIGHT - light);
#endif
#ifdef EYE
    colour = vec4(to_srgb(develop(light + mirror * bare)), 1.0);
#else
    colour = vec4(film(light), 1.0);
#endif
}
