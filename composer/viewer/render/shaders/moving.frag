// A head in motion on a processor: its light was found at the vertices (Gouraud 1971, "Continuous shading of curved
// surfaces"), on both sides; only film's answer is left to each pixel.
in Place {
    vec3 front;
    vec3 back;
} place;

out vec4 colour;

#include "film.glsl"

void main() {
    colour = vec4(film(gl_FrontFacing ? place.front : place.back), 1.0);
}
