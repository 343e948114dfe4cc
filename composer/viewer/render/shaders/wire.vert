// The cage's edges, a hair nearer to the eye than its faces.
layout(location = 0) in vec3 position;
layout(location = 1) in vec3 normal;
uniform mat4 to_clip;
uniform vec3 eye;
uniform float lift;
out float facing;

void main() {
    vec3 toward = normalize(eye - position);
    facing = dot(normal, toward);
    gl_ClipDistance[0] = facing + 0.05;
    gl_Position = to_clip * vec4(position + lift * toward, 1.0);
}
