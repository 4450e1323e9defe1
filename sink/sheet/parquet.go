package sheet

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"
)

// WriteParquet writes the table as an Apache Parquet file, compressed with zstd.
// Its columns are those of the CSV in the same order, a blank in a name being
// _; a figure that is not there is null, times are to the millisecond in UTC.
func (t *Table) WriteParquet(w io.Writer) error {
	out := parquet.NewGenericWriter[any](w, t.schema(), parquet.Compression(&parquet.Zstd))
	rows := make([]parquet.Row, t.rows)
	for i := range rows {
		for k := range t.columns {
			rows[i] = append(rows[i], parquetValue(t.columns[k].at(i)).Level(0, 1, k))
			if rows[i][k].IsNull() {
				rows[i][k] = parquet.NullValue().Level(0, 0, k)
			}
		}
	}
	if _, err := out.WriteRows(rows); err != nil {
		return fmt.Errorf("parquet: %s: %w", t.Name, err)
	}
	if err := out.Close(); err != nil {
		return fmt.Errorf("parquet: %s: %w", t.Name, err)
	}
	return nil
}

func parquetValue(v any) parquet.Value {
	switch x := v.(type) {
	case nil:
		return parquet.NullValue()
	case time.Time:
		return parquet.ValueOf(x.UnixMilli())
	}
	return parquet.ValueOf(v)
}

// inOrder is a group of columns that keeps their order; the library sorts them
// by name.
type inOrder struct {
	parquet.Group
	names []string
}

func (g inOrder) Fields() []parquet.Field {
	fields := g.Group.Fields()
	slices.SortFunc(fields, func(a, b parquet.Field) int {
		return slices.Index(g.names, a.Name()) - slices.Index(g.names, b.Name())
	})
	return fields
}

// schema has every column optional.
func (t *Table) schema() *parquet.Schema {
	g := inOrder{Group: parquet.Group{}}
	for _, c := range t.columns {
		name := strings.ReplaceAll(c.name, " ", "_")
		for g.Group[name] != nil {
			name += "_" // two engines whose names differ by a blank
		}
		g.Group[name] = parquet.Optional(c.kind.node())
		g.names = append(g.names, name)
	}
	return parquet.NewSchema(t.Name, g)
}

func (k kind) node() parquet.Node {
	switch k {
	case wholeKind:
		return parquet.Int(64)
	case figureKind:
		return parquet.Leaf(parquet.DoubleType)
	case truthKind:
		return parquet.Leaf(parquet.BooleanType)
	case momentKind:
		return parquet.Timestamp(parquet.Millisecond)
	}
	return parquet.String()
}
