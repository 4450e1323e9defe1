package results

import "math"

// PerNM is what a nautical mile costs, by step.
type PerNM struct {
	PricePerL *float64    `json:"price_per_l"`
	Currency  string      `json:"currency"`
	CO2KgPerL *float64    `json:"co2_kg_per_l"` // CO2 equivalent of fuel burnt (tank to wheel)
	Steps     []StepPerNM `json:"steps"`
}

// StepPerNM is one step; null where burn or price is not known.
type StepPerNM struct {
	Step  int       `json:"step"`
	Cost  *Interval `json:"cost_per_nm"` // in the currency
	CO2Kg *Interval `json:"co2_kg_per_nm"`
}

// AddPerNM fills in cost and carbon dioxide a nautical mile: litres a nautical
// mile times price and factor. Price and factor are taken as exact; nil where
// not known.
func (r *Results) AddPerNM(price *float64, currency string, co2 *float64) {
	r.PerNM = PerNM{PricePerL: price, Currency: currency, CO2KgPerL: co2}
	for i := range r.Steps {
		s := &r.Steps[i]
		r.PerNM.Steps = append(r.PerNM.Steps, StepPerNM{Step: s.ID, Cost: times(s.EconomyLPerNM, price), CO2Kg: times(s.EconomyLPerNM, co2)})
	}
}

func times(i *Interval, k *float64) *Interval {
	if i == nil || k == nil || math.IsNaN(i.Mean) {
		return nil
	}
	return &Interval{i.Mean * *k, i.Lo95 * *k, i.Hi95 * *k}
}
