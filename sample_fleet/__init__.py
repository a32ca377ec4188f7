"""An invented fleet of 28 craft and three seasons, shipped with the program to try it on."""
