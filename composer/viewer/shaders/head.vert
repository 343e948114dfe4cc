// A vertex of the head: where it is seen, and what the light needs to know there.
layout(location = 0) in vec3 position;
layout(location = 1) in vec3 normal;
layout(location = 2) in vec4 material;  // albedo in linear light, sheen
layout(location = 3) in float openness;
layout(location = 4) in vec4 cover;     // sRGB, how much
layout(location = 5) in vec4 ball;      // direction from the eyeball's centre, in its gaze frame; which eyeball

uniform mat4 to_clip;

out Place {
    vec3 point;
    vec3 normal;
    vec4 material;
    vec4 cover;  // linear light times how much, how much
    float openness;
#ifdef EYE
    vec3 ball;
    flat int which;
#endif
#ifdef TEXTURED
    vec2 uv;
#endif
} place;

void main() {
    place.point = position;
    place.normal = normal;
    place.material = material;
    vec3 linear = cover.rgb * (cover.rgb * (cover.rgb * 0.305306011 + 0.682171111) + 0.012522878);
    place.cover = vec4(linear * cover.a, cover.a);
    place.openness = openness;
#ifdef EYE
    place.ball = ball.xyz;
    place.which = int(ball.w);
#endif
#ifdef TEXTURED
    place.uv = vec2(0.0);
#endif
    gl_Position = to_clip * vec4(position, 1.0);
}
