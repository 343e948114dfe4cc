// Skin by a window, as in composer.picture.light; the numbers are those of composer.picture.skin_light.
vec3 by_window(vec3 n, vec3 albedo, vec3 ambient, float open, float lit, float bare) {
    float facing = dot(n, window);
    float direct = clamp(facing, 0.0, 1.0);
    vec3 near = clamp(facing + REACH, vec3(0.0), 2.0 * REACH);
    vec3 run_on = near * near * (0.25 / REACH) + max(facing - REACH, vec3(0.0)) - direct;
    run_on *= (SHADED + (1.0 - SHADED) * lit) * open;
    vec3 coloured = run_on + SOAK * (lit * (1.0 - lit) * direct);
    return albedo * (ambient + window_light * (direct * lit + mix(run_on.ggg, coloured, bare)));
}

float gleam(vec3 n, vec3 toward, float sheen, float lit) {
    float shine = max(dot(n, toward), 0.0);
    float s2 = shine * shine, s4 = s2 * s2, s8 = s4 * s4, s16 = s8 * s8, s32 = s16 * s16;
    float gloss = sheen > WET_FROM ? WET * s32 * s8 * s4 : BROAD * s8 + NARROW * s32;
    return gloss * sheen * lit * step(0.0, dot(n, window));
}
