// Package timeline keeps the course of a day for drawing at any zoom.
package timeline
