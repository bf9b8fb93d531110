// Package link is the controller's side of commissioning: a stand-in Modbus TCP
// controller that takes the board's coil writes and puts every frame on record,
// and the kinds of check that hold those frames against the plan.
//
// The stand-in (Listen) is a tap of our own before a Modbus TCP server of a
// library: the tap reads frames within bounds, records request and answer, and
// passes bytes on unchanged; the server behind it answers. It listens only where
// it is told to and takes no address that something already answers on. It opens
// no connection to a controller.
//
// The checks "link" (Check), "in-service" (InService) and "clean-up-site"
// (CleanUpSite) read frames from the run's log like any other entry; they never
// touch a socket.
package link
