in vec2 spot;
flat in float span;
in float way;
uniform vec4 ink;
uniform float width;
uniform float dash; // in mm, 0 for a full line
out vec4 colour;

void main() {
    float away = length(vec2(spot.x - clamp(spot.x, 0.0, span), spot.y));
    float amount = clamp(0.5 * width + 0.5 - away, 0.0, 1.0);
    if (dash > 0.0) {
        float phase = abs(fract(way / (2.0 * dash)) - 0.5) * 4.0 - 1.0;
        amount *= clamp(0.5 + phase * dash / max(fwidth(way), 1e-6) * 0.5, 0.0, 1.0);
    }
    if (amount <= 0.003) discard;
    colour = vec4(ink.rgb, ink.a * amount);
}
