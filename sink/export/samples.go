package export

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/parquet-go/parquet-go"

	"trialday.example/logd/pgn"
)

// Row is one decoded sample.
type Row struct {
	TimeUTC  time.Time // to the nanosecond
	Quantity string    // as pgn.Quantity names it
	Unit     string    // SI unit of Value
	Instance int
	Source   string   // the device that sent it
	Value    *float64 // written only where State is valid
	State    string   // as pgn.State names it
}

// value returns the value to be written, nil for none.
func (r *Row) value() *float64 {
	if r.State != pgn.Valid.String() {
		return nil
	}
	return r.Value
}

// CSV writes samples as comma-separated values (RFC 4180) with a header line.
// A sample without a valid value has an empty value field.
type CSV struct {
	w      *csv.Writer
	fields [7]string
}

// NewCSV begins a table on w.
func NewCSV(w io.Writer) (*CSV, error) {
	c := &CSV{w: csv.NewWriter(w)}
	err := c.w.Write([]string{"time_utc", "quantity", "unit", "instance", "source", "value", "state"})
	return c, err
}

// Write adds a sample.
func (c *CSV) Write(r Row) error {
	value := ""
	if v := r.value(); v != nil {
		value = strconv.FormatFloat(*v, 'g', -1, 64)
	}
	c.fields = [7]string{
		r.TimeUTC.UTC().Format("2006-01-02T15:04:05.000000000Z"),
		r.Quantity, r.Unit, strconv.Itoa(r.Instance), r.Source, value, r.State,
	}
	return c.w.Write(c.fields[:])
}

// Close writes out what is buffered. It does not close the underlying writer.
func (c *CSV) Close() error {
	c.w.Flush()
	return c.w.Error()
}

// parquetRow is the schema of the Parquet file.
type parquetRow struct {
	TimeUTC  int64    `parquet:"time_utc,timestamp(nanosecond),delta"`
	Quantity string   `parquet:"quantity,dict"`
	Unit     string   `parquet:"unit,dict"`
	Instance int32    `parquet:"instance"`
	Source   string   `parquet:"source,dict"`
	Value    *float64 `parquet:"value,optional"`
	State    string   `parquet:"state,dict"`
}

// rowGroup is the number of rows that are held in memory until they are
// written.
const rowGroup = 1 << 17

// Parquet writes samples as an Apache Parquet file, compressed with zstd. A
// sample without a valid value has a null value.
type Parquet struct {
	w     *parquet.GenericWriter[parquetRow]
	batch []parquetRow
}

// NewParquet begins a file on w.
func NewParquet(w io.Writer) (*Parquet, error) {
	return &Parquet{w: parquet.NewGenericWriter[parquetRow](w,
		parquet.Compression(&parquet.Zstd), parquet.MaxRowsPerRowGroup(rowGroup))}, nil
}

// Write adds a sample.
func (p *Parquet) Write(r Row) error {
	row := parquetRow{
		TimeUTC: r.TimeUTC.UnixNano(), Quantity: r.Quantity, Unit: r.Unit,
		Instance: int32(r.Instance), Source: r.Source, State: r.State,
	}
	if v := r.value(); v != nil {
		copied := *v // the caller may use his variable again
		row.Value = &copied
	}
	if p.batch = append(p.batch, row); len(p.batch) < 1024 {
		return nil
	}
	return p.flush()
}

func (p *Parquet) flush() error {
	_, err := p.w.Write(p.batch)
	p.batch = p.batch[:0]
	if err != nil {
		return fmt.Errorf("parquet: %w", err)
	}
	return nil
}

// Close writes the rest and the footer, without which the file is not
// readable. It does not close the underlying writer.
func (p *Parquet) Close() error {
	if err := p.flush(); err != nil {
		return err
	}
	if err := p.w.Close(); err != nil {
		return fmt.Errorf("parquet: %w", err)
	}
	return nil
}
