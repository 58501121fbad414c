package table

import (
	"errors"
	"fmt"
	"io"

	"widthwise/decode"
	"widthwise/formats/internal/capture"
)

// block returns what was gathered.
func (t *table) block() *decode.Block { return t.edges.Take(t.facts(), t.last) }

func (t *table) facts() decode.Facts { return decode.Facts{Start: t.pace.first, Unit: t.unit} }

// finish returns the last block once the text has ended with err.
func (t *table) finish(err error) (*decode.Block, error) {
	t.ended = true
	if errors.Is(err, io.ErrUnexpectedEOF) {
		t.cut("the compressed capture ends early, after line %d.", t.number)
		err = io.EOF
	}
	if err != io.EOF {
		return nil, t.named(t.readError(err))
	}
	if t.row == 0 {
		return nil, t.named(&capture.ParseError{Line: t.plan.first, Err: errors.New("there is no whole row of data"), Fix: "a time and a level in each row"})
	}
	if t.bad > t.row {
		return nil, t.named(&capture.ParseError{Err: fmt.Errorf("%d of %d rows are damaged", t.bad, t.bad+t.row), Fix: "a table that is for the most part whole"})
	}
	t.analog.Finish(t.last, t.weighed(t.last))
	t.closeOrigin()
	return t.block(), nil
}

// readError gives an error of reading its place.
func (t *table) readError(err error) error {
	var at *capture.ParseError
	switch {
	case errors.As(err, &at):
		return err
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		return &capture.ParseError{Err: errors.New("the capture ends before its first row"), Fix: "a time and a level in each row"}
	}
	return &capture.ParseError{Line: t.number + 1, Err: err, Fix: capture.Readable}
}

// closeOrigin completes what is known about the times.
func (t *table) closeOrigin() {
	o, clock := &t.origin, &t.plan.clock
	t.pace.fill(o, t.analog.Graded())
	if clock.step() > 0 {
		o.Step, o.Unit, o.UnitAtEnd = clock.step(), 0, 0
		if clock.kind == rowClock {
			o.ChangesOnly, o.EndStated = false, true
		}
	}
	if o.Step > 0 && 2*o.Step <= float64(o.Unit) {
		t.note(decode.TimesCoarse, "About %.0f samples share each stamp, which is written to %s us: times are no finer than that; export more digits.", float64(o.Unit)/o.Step, o.Unit.Micros(0))
		o.Step = float64(o.Unit)
	}
	if o.ChangesOnly && t.stated.Num > 0 {
		o.Step = float64(decode.Second) * float64(t.stated.Den) / float64(t.stated.Num)
	}
	o.Text = clock.first
	o.Notes = append(o.Notes, t.analog.Notes()...)
	t.compareRate()
	if t.bad > 0 {
		t.note(decode.LeftOut, "%d damaged rows of %d were left out.", t.bad, t.bad+t.row)
	}
	if t.row == spreadsheetRows || t.number == spreadsheetRows {
		t.note(decode.PerhapsShort, "The table has exactly 1 048 576 rows, the most a spreadsheet holds: it was probably cut there.")
	}
}

// compareRate notes where the stamps and the rate that the file states differ:
// most often the unit of one of them is wrong.
func (t *table) compareRate() {
	r := t.plan.facts.rate
	if r.Num == 0 || t.origin.Step == 0 || t.plan.clock.step() > 0 || t.origin.ChangesOnly {
		return
	}
	stated := float64(decode.Second) * float64(r.Den) / float64(r.Num)
	if ratio := t.origin.Step / stated; ratio > 1.02 || ratio < 0.98 {
		t.note(decode.TimesDiffer, "Line %d states a sample rate of %s, and the stamps are %s us apart; option time-unit states the unit of the stamps.",
			t.plan.facts.rateLine, r.Hertz(), decode.Time(t.origin.Step).Micros(6))
	}
}
