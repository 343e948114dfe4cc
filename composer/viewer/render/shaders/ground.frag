// A calm grey, a little lighter behind the head where the window's light falls, darker to the corners; the finest
// grain keeps it from banding.
in vec2 spot;
uniform vec3 ground;
uniform float aspect;
out vec4 colour;

void main() {
    vec2 away = (spot - vec2(-0.12, 0.10)) * vec2(min(aspect, 1.3), 1.0);
    float fall = dot(away, away);
    float grain = fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715)))) - 0.5;
    colour = vec4(ground * (1.045 - 0.105 * fall / (1.0 + 0.35 * fall)) + grain / 255.0, 1.0);
}
