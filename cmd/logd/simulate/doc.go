// Package simulate makes a day of sea trials of an invented boat: the CAN
// frames that a recorder would have heard, and beside them the truth.
//
// A scenario (YAML, see Scenario) describes boat, surroundings, instruments,
// faults and a script. A captain turns the script into commands, with human
// error; the world follows from them by simple mechanics; sensors see the world
// with their lag, noise and resolution; devices send what they see through
// package pgn's tables; and a bus puts the frames in order.
//
// The mechanics are meant to be plausible, not to predict any boat. What makes
// them fit to judge a calculation by is that the truth is exact: see world.
//
// Everything random follows from the seed.
package simulate
