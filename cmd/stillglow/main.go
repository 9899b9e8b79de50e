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
	var inUse []byte
	if os.Getenv("GOGC") == "" {
		// The heap is one long slice of volts and little else: letting it double
		// before a collection only costs memory.
		debug.SetGCPercent(25)
		// Of a short capture the heap is small, and a quarter of it soon used: the
		// collector would run at every megabyte, a third of the time. This much more
		// counts as in use, which takes no memory as long as nothing is written to it.
		inUse = make([]byte, 32<<20)
	}
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
	runtime.KeepAlive(inUse)
	os.Exit(code)
}
