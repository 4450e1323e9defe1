package sheet

import "slices"

// dataTable is a table of the details. Its first column names the row.
type dataTable struct {
	Caption string
	Head    []column
	Rows    [][]tableCell
}

// column is a head with the class of its cells: "", text or list.
type column struct{ Name, Class string }

type tableCell struct {
	figure
	Class string
}

func heads(names ...string) []column {
	var out []column
	for _, n := range names {
		out = append(out, column{Name: n})
	}
	return out
}

// add appends a row, the cells in the order of the head.
func (t *dataTable) add(cells ...figure) {
	var row []tableCell
	for i, f := range cells {
		if f.Value == "" {
			f.Value = missing
		}
		row = append(row, tableCell{f, t.Head[i].Class})
	}
	t.Rows = append(t.Rows, row)
}

// tables drops the columns in which no row has a value, and then the tables
// without any value.
func tables(list ...dataTable) []dataTable {
	var out []dataTable
	for _, t := range list {
		for i := len(t.Head) - 1; i > 0; i-- {
			if slices.ContainsFunc(t.Rows, func(r []tableCell) bool { return r[i].Value != missing }) {
				continue
			}
			t.Head = slices.Delete(slices.Clone(t.Head), i, i+1)
			for k, r := range t.Rows {
				t.Rows[k] = slices.Delete(slices.Clone(r), i, i+1)
			}
		}
		if len(t.Rows) > 0 && len(t.Head) > 1 {
			out = append(out, t)
		}
	}
	return out
}

// plain is a cell of words.
func plain(s string) figure { return figure{Value: s} }

// value is a cell of a figure without an interval.
func value(x *float64, decimals int) figure { return figure{Value: optional(x, decimals)} }

// property is one line of a table that has a column for each manoeuvre.
type property struct {
	name string
	of   func(i int) figure
}

// propertyTables has the properties as rows and n things as columns, so many
// of them in one table. Properties that none has are left out.
func propertyTables(n int, head func(i int) string, rows []property) []dataTable {
	const most = 4
	var out []dataTable
	for from := 0; from < n; from += most {
		to := min(from+most, n)
		t := dataTable{Head: []column{{}}}
		for i := from; i < to; i++ {
			t.Head = append(t.Head, column{Name: head(i)})
		}
		for _, p := range rows {
			cells, known := []figure{plain(p.name)}, false
			for i := from; i < to; i++ {
				f := p.of(i)
				known = known || f.Value != missing && f.Value != ""
				cells = append(cells, f)
			}
			if known {
				t.add(cells...)
			}
		}
		out = append(out, t)
	}
	return out
}
