in vec2 spot;
flat in vec4 ink;
flat in float radius;
out vec4 colour;

void main() {
    float away = length(spot);
    float disc = clamp(radius - 0.8 - away + 0.5, 0.0, 1.0);
    float rim = clamp(radius + 0.8 - away + 0.5, 0.0, 1.0);
    if (rim <= 0.003) discard;
    vec3 edge = dot(ink.rgb, vec3(0.3, 0.6, 0.1)) > 0.55 ? vec3(0.12, 0.13, 0.16) : vec3(0.97);
    colour = vec4(mix(edge, ink.rgb, disc), rim * ink.a);
}
