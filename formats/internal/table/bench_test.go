package table

import (
	"bytes"
	"fmt"
	"io"
	"testing"

	"widthwise/formats/internal/capture"
)

// BenchmarkTableRows reads sampled tables of a million rows, in nanoseconds a
// row: digital ones that hardly ever change, busy ones, and volts.
func BenchmarkTableRows(b *testing.B) {
	const rows = 1 << 20
	for name, row := range map[string]func(i int) string{
		"steady": func(i int) string {
			return fmt.Sprintf("%.7f,%d,%d,0\n", float64(i)*1e-7, bit(i%200000 < 15000), bit(i%200000 < 12000))
		},
		"busy": func(i int) string { return fmt.Sprintf("%.7f,%d,%d,0\n", float64(i)*1e-7, i%2, bit(i%3 == 0)) },
		"changes": func(i int) string {
			return fmt.Sprintf("%.6f,%d,%d,%d\n", float64(1000*i+i*i%701)/1e6, bit(i%6 < 3), bit(i%6 > 1 && i%6 < 5), bit(i%6 > 2))
		},
		"volts": func(i int) string {
			return fmt.Sprintf("%.7f,%.3f\n", float64(i)*1e-7, .01*float64(i%7)+3.3*float64(bit(i%2000 < 150)))
		},
		"numbered": func(i int) string { return fmt.Sprintf("%d,%d,%d,%d\n", i, 10*i, bit(i%2000 < 150), bit(i%2000 < 120)) },
	} {
		var text bytes.Buffer
		text.WriteString(map[bool]string{true: "#,t_us,a,b\n", false: "time_s,a,b,c\n"}[name == "numbered"])
		if name == "volts" {
			text.Reset()
			text.WriteString("time_s,a\n")
		}
		for i := range rows {
			text.WriteString(row(i))
		}
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(text.Len()))
			b.ReportAllocs()
			for b.Loop() {
				r, err := newReader(bytes.NewReader(text.Bytes()), "bench.csv", capture.Options{})
				if err != nil {
					b.Fatal(err)
				}
				for err == nil {
					_, err = r.Next()
				}
				r.Close()
				if err != io.EOF || r.Origin().Rows != rows {
					b.Fatal(err, r.Origin().Rows)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
		})
	}
}
