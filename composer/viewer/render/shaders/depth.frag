// Depth alone.
void main() {
}
