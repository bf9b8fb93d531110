package main

import (
	"fmt"
	"io"
	"net"
	"os"
	"time"
)

func init() { helpers["board-hands"] = func() { os.Exit(boardHands(os.Args[1:])) } }

// boardHands lays the show's tag on a virtual board and lifts it, over the board's control
// channel, until it is ended.
//
//	board-hands CONTROL PERIOD
func boardHands(args []string) int {
	if len(args) != 2 {
		fmt.Fprintln(os.Stderr, "board-hands CONTROL PERIOD")
		return 2
	}
	period, err := time.ParseDuration(args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, "board-hands:", err)
		return 2
	}
	conn, err := net.Dial("unix", args[0])
	if err != nil {
		fmt.Fprintln(os.Stderr, "board-hands:", err)
		return 1
	}
	go func() { _, _ = io.Copy(io.Discard, conn) }()
	tick := time.NewTicker(period)
	for lay := true; ; lay = !lay {
		request := `{"op":"take"}`
		if lay {
			request = `{"op":"place","role":"show"}`
		}
		if _, err := fmt.Fprintln(conn, request); err != nil {
			return 0 // the board has ended
		}
		<-tick.C
	}
}
