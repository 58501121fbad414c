// Command widthwise decodes logic-analyser captures of servo-style pulse
// trains and judges them.
package main

func main() {}
