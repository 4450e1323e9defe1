package choose

// Take gives a group to a device at once, for a reason that samples alone do not
// show. From then on the rule holds again.
func (c *Chooser) Take(g Group, instance uint8, source uint16, t int64, why Why) {
	sel := c.selectors[g][instance]
	if sel == nil {
		sel = c.begin(g, instance, t)
	}
	if i := c.find(sel, source, t); i >= 0 {
		c.change(sel, i, t, why)
	}
}
