// An eye as composer.picture.eye_paint has it, line by line; the numbers are those of composer.picture.eye_light.
struct Seen {
    vec3 albedo;
    vec3 lit_by;  // the normal that it is lit by
    vec3 wet;     // the normal of its wet surface
    float below;  // the upper lid
    float above;  // the lower lid
    float line;   // how much of the wet line is there
};

vec3 iris_at(vec3 surface, vec3 along, vec3 from_window) {
    vec3 normal = (surface - vec3(0.0, 0.0, CORNEA_AHEAD)) / CORNEA;
    float facing = clamp(-dot(normal, along), 0.0, 1.0);
    float bent = 1.0 - (1.0 - facing * facing) / (INDEX * INDEX);
    vec3 inner = along / INDEX + (facing / INDEX - sqrt(bent)) * normal;
    float depth = max(surface.z - IRIS_AHEAD, 0.0) / max(-inner.z, 0.05);
    vec2 across = (surface.xy + depth * inner.xy) / RIM_SINE;
    float out_at = length(across);
    float turn = atan(across.y, across.x);
    float part = clamp((out_at - PUPIL) / (1.0 - PUPIL), 0.0, 1.0);
    float fibres = 1.0 + 0.10 * sin(turn * 37.0 + 2.0 * sin(turn * 9.0)) + 0.07 * sin(turn * 61.0 + 1.3);
    float ring = (part - 0.22 - 0.03 * sin(turn * 11.0)) / 0.10;
    fibres *= 1.0 + 0.16 * exp(-ring * ring);
    float toward = dot(across, from_window.xy) / max(out_at, 1e-5);
    vec3 iris = mix(eye_colours[0], eye_colours[1], part) * (fibres * (1.0 - CAUSTIC * part * toward));
    iris = mix(iris, eye_colours[2], 0.85 * smoothstep(0.80, 1.02, out_at));
    return mix(iris, eye_colours[3], 1.0 - smoothstep(PUPIL - 0.025, PUPIL + 0.025, out_at));
}

Seen seen_of(vec3 place, vec3 along, mat3 turn, vec3 from_window, float pixel) {
    vec3 from_middle = place - vec3(0.0, 0.0, CORNEA_AHEAD);
    float b = dot(from_middle, along);
    float inside = b * b - dot(from_middle, from_middle) + CORNEA * CORNEA;
    vec3 met = place - (b + sqrt(max(inside, 0.0))) * along;
    bool through = inside > 0.0 && met.z > RIM_COSINE;
    vec3 surface = through ? met : place;
    float angle = degrees(atan(length(surface.xy), surface.z));
    float white = through ? smoothstep(IRIS_DEG - EDGE_DEG, IRIS_DEG, angle) : 1.0;
    vec3 d = normalize(place), n = turn * d;
    vec3 sclera = mix(eye_colours[4], eye_colours[5], smoothstep(40.0, 70.0, angle));
    vec3 bulge = turn * ((surface - vec3(0.0, 0.0, CORNEA_AHEAD)) / CORNEA);
    vec2 flat_place = n.xy / (1.0 + max(n.z, -0.5));
    float step_at = clamp((flat_place.x - LID_FIRST) * LID_STEPS, 0.0, float(LID_PLACES) - 1.001);
    int at = place_which * LID_PLACES + int(step_at);
    vec4 lid = mix(lids[at], lids[at + 1], fract(step_at));
    float above = flat_place.y - lid.y;
    float breadth = max(LINE, 0.35 * pixel);
    float line = exp(-above * above / (breadth * breadth)) * (LINE / breadth);
    line *= smoothstep(LINE_FROM, LINE_TO, lid.x - lid.y);
    return Seen(mix(iris_at(surface, along, from_window), sclera, white), normalize(mix(turn[2], n, white)),
                normalize(mix(bulge, n, white)), lid.x - flat_place.y, above, line);
}

float open_of(Seen seen) {
    float upper = UPPER_SHADE + (1.0 - UPPER_SHADE) * smoothstep(0.0, UPPER_REACH, seen.below);
    return upper * (LOWER_SHADE + (1.0 - LOWER_SHADE) * smoothstep(0.0, LOWER_REACH, seen.above));
}

// What the wet surface mirrors: the window with its bars, the sky, and both in the wet line.
float on_eye(Seen seen, vec3 sight, float open, float lit) {
    vec3 bounced = reflect(sight, seen.wet);
    float ahead = dot(bounced, window);
    vec2 pane = abs(vec2(dot(bounced, across), dot(bounced, upward))) / (1.25 * window_half * max(ahead, 1e-6));
    float edge = ahead > 0.0 ? clamp((1.15 - max(pane.x, pane.y)) / 0.3, 0.0, 1.0) : 0.0;
    edge *= 1.0 - BARS * (1.0 - smoothstep(0.04, 0.12, min(pane.x, pane.y)));
    float catch_light = CATCH * edge * clamp(seen.below / 0.05, 0.0, 1.0);
    float up = clamp(0.5 + 0.5 * bounced.y, 0.0, 1.0);
    vec3 upward_of = normalize(seen.wet + vec3(0.0, 0.7, 0.0));
    float gathered = 0.30 + 0.70 * max(dot(window, upward_of), 0.0) * (0.25 + 0.75 * lit);
    return catch_light + WET_SKY * up * up * open + LINE_LIGHT * seen.line * gathered;
}
