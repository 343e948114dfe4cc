// Where a vertex lies, for its depth alone.
layout(location = 0) in vec3 position;
uniform mat4 to_clip;

void main() {
    gl_Position = to_clip * vec4(position, 1.0);
}
