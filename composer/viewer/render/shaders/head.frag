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
uniform vec4 lids[4 * 16]; // per eyeball, along x: how high the upper and the lower lid stand
uniform vec3 eye_colours[6];
#endif

out vec4 colour;

#include "skin.glsl"

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
    vec3 d = normalize(place.ball);
    vec3 n = turns[place.which] * d;
    float angle = degrees(atan(length(d.xy), d.z));
    float turn = atan(d.y, d.x);
    float part = clamp((angle - PUPIL) / (IRIS - PUPIL), 0.0, 1.0);
    float fibres = 1.0 + 0.10 * sin(turn * 37.0 + 2.0 * sin(turn * 9.0)) + 0.07 * sin(turn * 61.0 + 1.3);
    vec3 iris = mix(eye_colours[0], eye_colours[1], part) * fibres;
    vec3 from_window = window * turns[place.which];
    iris *= 1.0 - 0.5 * part * dot(normalize(d.xy + 1e-5), from_window.xy);
    iris = mix(iris, eye_colours[2], 0.8 * smoothstep(IRIS - 5.5, IRIS - 0.5, angle));
    vec3 white = mix(eye_colours[4], eye_colours[5], smoothstep(42.0, 72.0, angle));
    albedo = mix(iris, white, smoothstep(IRIS - 0.8, IRIS + 1.2, angle));
    albedo = mix(albedo, eye_colours[3], 1.0 - smoothstep(PUPIL - 0.7, PUPIL + 0.7, angle));

    vec2 flat_place = n.xy / (1.0 + max(n.z, -0.5));
    float step_at = clamp((flat_place.x + 0.75) * 10.0, 0.0, 14.999);
    int at = place.which * 16 + int(step_at);
    vec4 lid = mix(lids[at], lids[at + 1], fract(step_at));
    float below = lid.x - flat_place.y, above = flat_place.y - lid.y;
    float shade = (0.42 + 0.58 * smoothstep(0.0, 0.20, below)) * (0.72 + 0.28 * smoothstep(0.0, 0.10, above));
    ambient *= shade / max(open, 0.08);
    open = shade;
    lit = smoothstep(-0.01, 0.13, below);

    vec3 bounced = reflect(sight, n);
    float ahead = dot(bounced, window);
    vec2 pane = abs(vec2(dot(bounced, across), dot(bounced, upward))) / (1.25 * window_half * max(ahead, 1e-6));
    float bar = 1.0 - 0.55 * (1.0 - smoothstep(0.04, 0.12, min(pane.x, pane.y)));
    float mirror = ahead > 0.0 ? bar * clamp((1.15 - max(pane.x, pane.y)) / 0.3, 0.0, 1.0) : 0.0;
    mirror *= smoothstep(-0.02, 0.06, below);
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
    colour = vec4(to_srgb(develop(light) + mirror * 0.85 * (1.0 - place.cover.a)), 1.0);
#else
    colour = vec4(film(light), 1.0);
#endif
}
