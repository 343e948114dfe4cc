// A picture between two corners of the view, in clip space.
uniform vec4 corners;
out vec2 spot;

void main() {
    spot = vec2(float(gl_VertexID & 1), float(gl_VertexID >> 1));
    gl_Position = vec4(mix(corners.xy, corners.zw, spot), 0.0, 1.0);
}
