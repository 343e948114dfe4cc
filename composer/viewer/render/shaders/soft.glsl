// Soft shadows of the window, and how much of the sky a place sees; see composer.viewer.render.soft_light.
const int TAPS = 24;
const float SKY_MM = 34.0;   // how far what stands in the way of the sky counts
const float LIFTED_MM = 0.7; // how far from the surface a look to the window starts
uniform sampler2D from_window;
uniform sampler2D from_eye;
uniform mat4 to_window;
uniform mat4 view;
uniform vec4 lens;           // of the projection: x, y and the two of depth
uniform vec2 window_box;
uniform vec2 pixels;
uniform float depth_mm;

// Evenly over the unit disc (Vogel, A better way to construct the sunflower head, 1979).
vec2 spread(int i, int count, float turn) {
    float r = sqrt((float(i) + 0.5) / float(count)), a = float(i) * 2.39996323 + turn;
    return r * vec2(cos(a), sin(a));
}

// Unlike its neighbours (Jimenez, Next generation post processing, SIGGRAPH 2014).
float turned() {
    return 6.2831853 * fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715))));
}

float sees_window(vec3 world, vec3 n) {
    vec3 at = (to_window * vec4(world + LIFTED_MM * n, 1.0)).xyz * 0.5 + 0.5;
    vec2 wide = window_box / depth_mm;   // of the picture, for each mm of gap
    vec3 across = mat3(to_window) * n;   // a place beside this one on its own plane is nearer by this
    vec2 slope = across.xy / min(across.z, -0.12 * length(across));
    float before = 0.0, count = 0.0, turn = turned();
    for (int i = 0; i < TAPS; i++) {
        vec2 beside = spread(i, TAPS, turn) * wide * 60.0;
        float depth = texture(from_window, at.xy + beside).r + dot(slope, beside);
        float is_before = step(depth, at.z - 0.5 / depth_mm);
        before += is_before * depth;
        count += is_before;
    }
    if (count < 0.5) return 1.0;
    float gap = (at.z - before / count) * depth_mm;
    vec2 half_shade = max(wide * gap, vec2(1.2 / depth_mm));
    float lit = 0.0;
    for (int i = 0; i < TAPS; i++) {
        vec2 beside = spread(i, TAPS, turn) * half_shade;
        lit += step(at.z - 0.5 / depth_mm, texture(from_window, at.xy + beside).r + dot(slope, beside));
    }
    return lit / float(TAPS);
}

float sees_sky(vec3 world, vec3 n) {
    vec3 here = (view * vec4(world, 1.0)).xyz, up = mat3(view) * n;
    vec2 around = SKY_MM * lens.xy / (-2.0 * here.z);
    float hidden = 0.0, turn = turned();
    for (int i = 0; i < TAPS; i++) {
        vec2 at = gl_FragCoord.xy / pixels + spread(i, TAPS, turn) * around;
        float z = -lens.w / (2.0 * texture(from_eye, at).r - 1.0 + lens.z);
        vec3 to = vec3((2.0 * at - 1.0) * -z / lens.xy, z) - here;
        float away = max(length(to), 1e-4);
        hidden += max(dot(to, up) / away - 0.10, 0.0) * max(1.0 - away / (1.5 * SKY_MM), 0.0);
    }
    return clamp(1.0 - 2.6 * hidden / float(TAPS), 0.08, 1.0);
}
