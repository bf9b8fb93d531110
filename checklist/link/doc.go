// Package link is the controller's side of commissioning: a stand-in Modbus TCP
// controller that takes the board's coil writes and puts every frame on record,
// and the kinds of check that hold those frames against the plan.
//
// A Tap sees every byte of both directions with its time, puts the frames on record
// and passes the bytes on unchanged. The stand-in (Listen) is one before a server of
// its own; ListenTap puts one before another controller. Both listen only where they
// are told to and take no address that something already answers on; a tap opens a
// connection to its controller for each that it takes, and none before.
//
// The checks "link" (Check), "in-service" (InService) and "clean-up-site"
// (CleanUpSite) read frames from the run's log like any other entry; they never
// touch a socket.
package link
