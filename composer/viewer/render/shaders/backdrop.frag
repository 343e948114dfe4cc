// Its colours as they are, as opaque as is wished.
in vec2 spot;
uniform sampler2D picture;
uniform float opacity;
out vec4 colour;

void main() {
    vec4 held = texture(picture, spot);
    colour = vec4(held.rgb, held.a * opacity);
}
