// Package pgn defines the messages of a marine CAN network: what a frame's
// identifier says, which bits of a payload make up a field, and what the field's
// number means.
//
// Everything is driven by one table (table.go, and engine_bus.go for the
// engines' own network), one row a field. Decoding,
// encoding, the typed accessors (accessors.go, made by go generate) and the
// choice of what becomes a sample all follow from it.
//
// Identifiers and address claims follow ISO 11783-3 and ISO 11783-5. The field
// layouts, the patterns that are not values and the fast-packet protocol are
// from memory; the tests check the arithmetic against independent tools, not
// the layouts themselves.
package pgn

//go:generate go run gen.go -o accessors.go
