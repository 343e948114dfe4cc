// Gives each corner of a triangle its own texture coordinates, so that the picture's seams cut no vertex in two.
layout(triangles) in;
layout(triangle_strip, max_vertices = 3) out;

uniform samplerBuffer uvs;    // two numbers a corner
uniform float first_triangle;

in Place {
    vec3 normal;
    vec3 toward;
    vec4 material;
    vec3 ambient;
    vec3 free;
    vec4 cover;
    vec2 uv;
} corner[];

out Place {
    vec3 normal;
    vec3 toward;
    vec4 material;
    vec3 ambient;
    vec3 free;
    vec4 cover;
    vec2 uv;
} place;

void main() {
    int start = 6 * (gl_PrimitiveIDIn + int(first_triangle + 0.5));
    for (int i = 0; i < 3; ++i) {
        gl_Position = gl_in[i].gl_Position;
        place.normal = corner[i].normal;
        place.toward = corner[i].toward;
        place.material = corner[i].material;
        place.ambient = corner[i].ambient;
        place.free = corner[i].free;
        place.cover = corner[i].cover;
        place.uv = vec2(texelFetch(uvs, start + 2 * i).r, texelFetch(uvs, start + 2 * i + 1).r);
        EmitVertex();
    }
    EndPrimitive();
}
