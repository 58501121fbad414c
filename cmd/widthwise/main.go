// Command widthwise decodes logic-analyser captures of servo-style pulse
// trains and judges them. "widthwise help" lists what it does.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"
)

func main() {
	// Nearly all memory is kept pulses, which stay: collecting early costs
	// little and halves the peak of a long capture.
	debug.SetGCPercent(10)
	// Never touched, this takes no memory; it lets garbage of small captures
	// grow to some twenty megabytes before it is collected.
	ballast := make([]byte, 192<<20)
	defer runtime.KeepAlive(ballast)
	// A reader that goes away, such as head, is an error of the write and no
	// signal; see [exitCode].
	signal.Ignore(syscall.SIGPIPE)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, systemStreams(), os.Args[1:])
	stop()
	os.Exit(code)
}
