// The ground of composer.picture.ground; the finest grain keeps it from banding.
in vec2 spot;
uniform vec3 ground;
uniform vec3 above;
uniform vec3 below;
out vec4 colour;

void main() {
    vec3 tint = mix(below, above, smoothstep(-1.1, 1.1, spot.y));
    float grain = fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715)))) - 0.5;
    colour = vec4(ground * tint + grain / 255.0, 1.0);
}
