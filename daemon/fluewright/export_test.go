package main

// Main is main, for the tests that run the program within theirs.
var Main = main
