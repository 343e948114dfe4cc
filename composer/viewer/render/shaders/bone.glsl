// Matt bone by a window, as in composer.picture.light: the window's own light, and its gleam.
vec3 by_window(vec3 n, vec3 albedo, vec3 ambient, float open, float lit) {
    float facing = dot(n, window);
    float direct = clamp(facing, 0.0, 1.0) * lit;
    float wrapped = clamp((facing + 0.30) / 1.30, 0.0, 1.0);
    wrapped *= wrapped * (0.35 + 0.65 * lit);
    float bleed = clamp(wrapped - direct, 0.0, 1.0) * 0.30 * open;
    return albedo * (ambient + window_light * (direct + bleed * bleed_tint));
}

float gleam(vec3 n, vec3 toward, float sheen, float lit) {
    float shine = max(dot(n, toward), 0.0);
    float s2 = shine * shine, s4 = s2 * s2, s8 = s4 * s4, s16 = s8 * s8;
    float gloss = sheen > 0.08 ? s16 * s16 * s8 * s4 : s8 * s4 * s2;
    return gloss * sheen * lit * 1.6 * step(0.0, dot(n, window));
}
