// Does nothing, linked with all libraries that the program is: the least that its start can take.
int main() { return 0; }
