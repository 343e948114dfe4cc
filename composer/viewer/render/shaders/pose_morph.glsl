// The pose of one vertex: the neutral and, each by its amount, the fields that reach its block.
// A block is BLOCK vertices in a row. Its entries each name a slot, BLOCK x then BLOCK y then BLOCK z, and an amount.
vec3 posed(uint vertex, vec3 neutral) {
    uint block = vertex / BLOCK, lane = vertex % BLOCK, last = start_of(block + 1u);
    vec3 moved = vec3(0.0);
    for (uint i = start_of(block); i < last; i++) {
        uvec2 entry = entry_of(i);
        float amount = amount_of(entry.y);
        if (amount != 0.0) {
            uint at = entry.x * (3u * BLOCK) + lane;
            moved += amount * vec3(value_of(at), value_of(at + BLOCK), value_of(at + 2u * BLOCK));
        }
    }
    return neutral + moved;
}
