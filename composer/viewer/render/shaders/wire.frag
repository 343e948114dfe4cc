in float facing;
uniform vec4 ink;
out vec4 colour;

void main() {
    colour = vec4(ink.rgb, ink.a * smoothstep(-0.05, 0.45, facing));
}
