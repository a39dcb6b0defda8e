"""What a true-scale picture shows: the board's edge, holes, a drawn line, copper, parts."""
