// Stillglow tells which small DC supply is quiet enough to run the heaters of
// a low-noise valve preamp, what would make a near miss good enough, and which
// dropper resistor to fit.
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
	if os.Getenv("GOGC") == "" {
		// The heap is one long slice of volts and little else: letting it double
		// before a collection only costs memory.
		debug.SetGCPercent(25)
	}
	// Of a short capture the heap is small, and a quarter of it soon used: the
	// collector would run at every megabyte, a third of the time.
	counted := countInUse(32 << 20)
	ends := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // as under nohup
		ends = append(ends, syscall.SIGHUP)
	}
	ctx, stop := signal.NotifyContext(context.Background(), ends...)
	go func() {
		<-ctx.Done()
		stop() // a second Ctrl-C ends the program at once
	}()
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	counted()
	os.Exit(code)
}

// countInUse has the collector count so many bytes more as in use until the function
// that it gives is called, so that it runs less often. It takes no memory as long as
// nothing is written to them.
func countInUse(bytes int) (end func()) {
	if os.Getenv("GOGC") != "" {
		return func() {} // the user decides
	}
	inUse := make([]byte, bytes)
	return func() { runtime.KeepAlive(inUse) }
}
