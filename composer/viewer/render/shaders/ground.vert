// One triangle over the whole picture.
out vec2 spot;

void main() {
    spot = vec2(float(gl_VertexID & 1) * 4.0 - 1.0, float(gl_VertexID >> 1) * 4.0 - 1.0);
    gl_Position = vec4(spot, 1.0, 1.0);
}
