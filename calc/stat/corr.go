package stat

import "math"

// maxOrder bounds the autoregressive model. Four coefficients describe a slow
// wander plus one oscillation (the waves); more cannot be told from a window
// of a minute.
const maxOrder = 4

// maxPersistence bounds the sum of the autoregressive coefficients: 0.88
// stands for a correlation time of about 8 s, a slow helm in gusts. What varies
// more slowly is drift, which the slope test judges; without the bound a chance
// trend in a short series makes its interval absurd.
const maxPersistence = 0.88

// MeanOf returns the mean of a correlated series with its standard error.
//
// The standard error is sqrt(S0/n), where S0 is the spectral density at
// frequency zero of an autoregressive model of the series (order 1 to 4,
// chosen by the corrected Akaike criterion; coefficients by Burg's method).
// This is the method of Heidelberger and Welch, "A spectral method for
// confidence interval generation and run length control in simulations",
// Comm. ACM 24 (1981) 233-245, with the autoregressive estimate of Geweke
// (1992). Effective sample size is n*variance/S0, and the degrees of freedom
// are that less one, at the most n-1.
//
// Burg's coefficients are biased towards zero in short series; the sum of the
// coefficients is corrected by its first-order bias, (1+3*phi)/n for order
// one (Kendall, Biometrika 41 (1954) 403), which matters below 100 values.
func MeanOf(x []float64) Estimate {
	n := len(x)
	if n < 2 {
		return Estimate{Mean: Mean(x), SE: math.Inf(1), DOF: 1}
	}
	m := Mean(x)
	d := make([]float64, n)
	variance := 0.0
	for i, v := range x {
		d[i] = v - m
		variance += d[i] * d[i]
	}
	variance /= float64(n - 1)
	if variance == 0 {
		return Estimate{Mean: m, SE: 0, DOF: float64(n - 1)}
	}
	s0 := spectrumAtZero(d)
	eff := float64(n) * variance / s0
	// An oscillation averages out faster than white noise, but the part of a
	// period left over at the ends does not: hence the bound.
	eff = math.Max(2, math.Min(eff, 4*float64(n)))
	return Estimate{Mean: m, SE: math.Sqrt(variance / eff), DOF: math.Min(eff, float64(n)) - 1}
}

// spectrumAtZero returns the spectral density at zero of the centred series d,
// scaled so that white noise gives its variance.
func spectrumAtZero(d []float64) float64 {
	n := float64(len(d))
	models := burg(d, min(maxOrder, len(d)/5))
	// Order 0 is not offered: in a short series it would often win by chance,
	// and the interval would be too narrow.
	best, bestAIC := models[0], math.Inf(1)
	for _, m := range models[min(1, len(models)-1):] {
		k := float64(len(m.coef) + 1)
		aicc := n*math.Log(m.variance) + 2*k + 2*k*(k+1)/math.Max(1, n-k-1)
		if aicc < bestAIC {
			best, bestAIC = m, aicc
		}
	}
	phi := 0.0
	for _, a := range best.coef {
		phi += a
	}
	p := float64(len(best.coef))
	if p > 0 {
		phi += (p + 3*phi) / n // to first order the sum of p coefficients is low by this
	}
	phi = math.Min(phi, maxPersistence)
	// One mean was taken from the data, and p coefficients.
	innovation := best.variance * n / math.Max(1, n-1-p)
	return innovation / ((1 - phi) * (1 - phi))
}

// model is an autoregressive model x[t] = sum coef[i] x[t-1-i] + e.
type model struct {
	coef     []float64
	variance float64 // of e
}

// burg returns the models of order 0 to maxP by Burg's method (Burg 1967;
// Kay, Modern Spectral Estimation, 1988, ch. 7).
func burg(d []float64, maxP int) []model {
	n := len(d)
	v := 0.0
	for _, x := range d {
		v += x * x
	}
	v /= float64(n)
	models := []model{{variance: v}}
	f := append([]float64(nil), d...)
	b := append([]float64(nil), d...)
	var a []float64
	for p := 1; p <= maxP; p++ {
		num, den := 0.0, 0.0
		for t := p; t < n; t++ {
			num += f[t] * b[t-1]
			den += f[t]*f[t] + b[t-1]*b[t-1]
		}
		if den == 0 || v <= 0 {
			break
		}
		k := 2 * num / den
		next := make([]float64, p)
		for i := 0; i < p-1; i++ {
			next[i] = a[i] - k*a[p-2-i]
		}
		next[p-1] = k
		a = next
		for t := n - 1; t >= p; t-- {
			f[t], b[t] = f[t]-k*b[t-1], b[t-1]-k*f[t]
		}
		v *= 1 - k*k
		models = append(models, model{coef: a, variance: v})
	}
	return models
}

// Slope returns the least-squares slope per tick with a standard error that
// allows for autocorrelation of the residuals: the white-noise standard error
// is inflated by sqrt(S0/variance) of the residuals, as in MeanOf (for the
// same correction by an effective sample size see Santer et al., J. Geophys.
// Res. 105 (2000) 7337).
func Slope(x []float64) Estimate {
	n := float64(len(x))
	if n < 4 {
		return Estimate{Mean: 0, SE: math.Inf(1), DOF: 1}
	}
	tm, m := (n-1)/2, Mean(x)
	sxx := n * (n*n - 1) / 12 // of 0 to n-1 about their mean
	slope := LineSlope(x)
	res := make([]float64, len(x))
	rss := 0.0
	for i, v := range x {
		res[i] = v - m - slope*(float64(i)-tm)
		rss += res[i] * res[i]
	}
	variance := rss / (n - 2)
	if variance == 0 {
		return Estimate{Mean: slope, SE: 0, DOF: n - 2}
	}
	ratio := math.Max(1, spectrumAtZero(res)/variance)
	eff := math.Max(3, n/ratio)
	return Estimate{Mean: slope, SE: math.Sqrt(variance * ratio / sxx), DOF: eff - 2}
}
