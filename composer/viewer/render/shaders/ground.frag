// Haze over a shore: cool and a little lighter above, sand below, as even from side to side as the sea; the finest
// grain keeps it from banding.
in vec2 spot;
uniform vec3 ground;
uniform float aspect;
out vec4 colour;

void main() {
    float up = smoothstep(-1.1, 1.1, spot.y + 0.04 * aspect * spot.x);
    vec3 tint = mix(vec3(0.985, 0.945, 0.900), vec3(0.960, 1.030, 1.075), up);
    float grain = fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715)))) - 0.5;
    colour = vec4(ground * tint + grain / 255.0, 1.0);
}
