vec3 film(vec3 light) { // develop and to_srgb in one, within two steps of 255
    vec3 a = sqrt(clamp(light, vec3(0.0), vec3(2.0)));
    vec3 b = sqrt(a);
    return a * (2.0378757 + a * (-2.69398468 + a * (4.72869067 + a * (1.13453195 * a - 4.00109528)))) - 0.24267342 * b;
}
