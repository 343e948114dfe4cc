// The smooth normal of one vertex: the vector areas of the polygons about it; zero where there are none.
// Its edges are those of these polygons that it is no end of, each in its polygon's sense: fans about the vertex.
vec3 smooth_normal(uint vertex, vec3 here) {
    vec3 sum = vec3(0.0);
    uint last = ring_of(vertex + 1u);
    for (uint i = ring_of(vertex); i < last; i++) {
        uvec2 edge = edge_of(i);
        sum += cross(place_of(edge.x) - here, place_of(edge.y) - here);
    }
    float square = dot(sum, sum);
    return square > 0.0 ? sum * inversesqrt(square) : vec3(0.0);
}
