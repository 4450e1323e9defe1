package influx

import "testing"

// BenchmarkPoints is the cost of making all points of a journal again, which a
// restart pays before it goes on where it was.
func BenchmarkPoints(b *testing.B) {
	frames := framesOf(b, "accuracy").first(0.5)
	o := options(offline(b, "triple"), frames.write(b, b.TempDir()))
	b.ReportAllocs()
	for b.Loop() {
		pointsOf(b, o)
	}
	b.ReportMetric(float64(len(frames.frames)*b.N)/b.Elapsed().Seconds(), "frames/s")
}
