// Matt bone by a window, as in composer.picture.light: window, sky, floor, a fill and a rim, then film's answer.
in Place {
    vec3 point;
    vec3 normal;
    vec4 material;
    vec4 cover;
    float openness;
#ifdef EYE
    vec3 ball;
    flat int which;
#endif
#ifdef TEXTURED
    vec2 uv;
#endif
} place;

uniform vec3 eye;
uniform vec3 window;
uniform vec3 across;
uniform vec3 upward;
uniform vec3 fill;
uniform vec3 rim;
uniform vec2 window_half;
uniform vec3 window_light;
uniform vec3 sky_light;
uniform vec3 floor_light;
uniform vec3 fill_light;
uniform vec3 rim_light;
uniform vec3 bleed_tint;
#ifdef TEXTURED
uniform sampler2D skin;
#endif
#ifdef EYE
uniform mat3 turns[4];     // from an eyeball's gaze frame to the head's
uniform vec4 lids[4 * 16]; // per eyeball, along x: how high the upper and the lower lid stand
uniform vec3 eye_colours[6];
#endif

out vec4 colour;

vec3 to_srgb(vec3 x) {
    x = max(x, vec3(0.0));
    vec3 a = sqrt(x), b = sqrt(a), c = sqrt(b);
    return 0.662002687 * a + 0.684122060 * b - 0.323583601 * c - 0.0225411470 * x;
}

vec3 develop(vec3 light) {
    vec3 exposed = light * 1.06;
    vec3 over = max(exposed - 0.72, vec3(0.0));
    return min(exposed, vec3(0.72)) + 0.28 * (1.0 - exp(over * (-1.0 / 0.28)));
}

void main() {
    vec3 sight = normalize(place.point - eye);
    vec3 n = normalize(place.normal);
    float open = place.openness;
    vec3 albedo = place.material.rgb;
    float sheen = place.material.a;
    float lit = smoothstep(0.05, 0.55, open);
    float mirror = 0.0;
#ifdef EYE
    vec3 d = normalize(place.ball);
    n = turns[place.which] * d;
    float angle = degrees(atan(length(d.xy), d.z));
    float turn = atan(d.y, d.x);
    float part = clamp((angle - PUPIL) / (IRIS - PUPIL), 0.0, 1.0);
    float fibres = 1.0 + 0.10 * sin(turn * 37.0 + 2.0 * sin(turn * 9.0)) + 0.07 * sin(turn * 61.0 + 1.3);
    vec3 iris = mix(eye_colours[0], eye_colours[1], part) * fibres;
    iris *= 1.0 + 0.55 * part * dot(normalize(d.xy + 1e-5), vec2(dot(turns[place.which][0], -window),
                                                                dot(turns[place.which][1], -window)));
    iris = mix(iris, eye_colours[2], 0.8 * smoothstep(IRIS - 5.5, IRIS - 0.5, angle));
    vec3 white = mix(eye_colours[4], eye_colours[5], smoothstep(42.0, 72.0, angle));
    albedo = mix(iris, white, smoothstep(IRIS - 0.8, IRIS + 1.2, angle));
    albedo = mix(albedo, eye_colours[3], 1.0 - smoothstep(PUPIL - 0.7, PUPIL + 0.7, angle));
    albedo = mix(albedo, place.cover.rgb, place.cover.a);

    vec2 flat_place = n.xy / (1.0 + max(n.z, -0.5));
    float step_at = clamp((flat_place.x + 0.75) * 10.0, 0.0, 14.999);
    int at = place.which * 16 + int(step_at);
    vec4 lid = mix(lids[at], lids[at + 1], fract(step_at));
    float below = lid.x - flat_place.y, above = flat_place.y - lid.y;
    open = (0.42 + 0.58 * smoothstep(0.0, 0.20, below)) * (0.72 + 0.28 * smoothstep(0.0, 0.10, above));
    lit = smoothstep(-0.01, 0.13, below);
    sheen = 0.0;

    vec3 bounced = reflect(sight, n);
    float ahead = dot(bounced, window);
    vec2 pane = abs(vec2(dot(bounced, across), dot(bounced, upward))) / (1.25 * window_half * max(ahead, 1e-6));
    float bar = 1.0 - 0.55 * (1.0 - smoothstep(0.04, 0.12, min(pane.x, pane.y)));
    mirror = ahead > 0.0 ? bar * clamp((1.15 - max(pane.x, pane.y)) / 0.3, 0.0, 1.0) : 0.0;
    mirror *= smoothstep(-0.02, 0.06, below);
#else
#ifdef TEXTURED
    albedo = texture(skin, place.uv).rgb;
#endif
    albedo = albedo * (1.0 - place.cover.a) + place.cover.rgb;
    if (!gl_FrontFacing) {
        n = -n;
        albedo *= vec3(0.55, 0.42, 0.38);
        sheen = 0.0;
    }
#endif
    float bare = 1.0 - place.cover.a;
    float facing = dot(n, window);
    float direct = clamp(facing, 0.0, 1.0) * lit;
    float wrapped = clamp((facing + 0.30) / 1.30, 0.0, 1.0);
    wrapped *= wrapped * (0.35 + 0.65 * lit);
    float bleed = clamp(wrapped - direct, 0.0, 1.0) * 0.30 * open;
    float above_it = 0.5 + 0.5 * n.y;
    float sky = above_it * (0.75 + 0.25 * above_it) * open;
    float ground = (1.0 - above_it) * open;
    float filled = clamp(dot(n, fill) * 0.7 + 0.3, 0.0, 1.0) * open;
    float rimmed = clamp(dot(n, rim), 0.0, 1.0);
    rimmed *= rimmed * open;
    vec3 warm = clamp(1.0 + 0.64 * (1.0 - open) * (bleed_tint - 1.0), vec3(0.5), vec3(1.3));
    vec3 total = window_light * (direct + bleed * bleed_tint) + rim_light * rimmed
               + warm * (sky_light * sky + floor_light * ground + fill_light * filled);
    float shine = clamp(dot(n, normalize(window - sight)), 0.0, 1.0);
    float gloss = sheen * bare * pow(shine, sheen > 0.08 ? 44.0 : 14.0) * lit * 1.6 * step(0.0, facing);
    vec3 light = albedo * total + gloss;
    light += place.cover.a * 0.55 * (albedo * 0.85 - light);
    colour = vec4(to_srgb(develop(light) + mirror * bare * 0.85), 1.0);
}
