package main

import (
	"context"
	"crypto/sha256"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/exp/maps"
	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/alike"
	"widthwise/decode/phrase"
	"widthwise/report/grade"
	"widthwise/report/text"
)

type gradeOptions struct {
	*options
	roster, answers string
	plan, json      bool
	csv             string
	page            classPage
}

func (a *app) gradeCommand() *cobra.Command {
	o := &gradeOptions{}
	cmd := &cobra.Command{
		Use:   "grade RUBRIC CAPTURE...",
		Short: "grade captures, files or folders, against a rubric",
		Long: "Grades the captures of a class: each file is one student's, named as the file, or as its folder where\n" +
			"that holds no other. widthwise help rubric prints a rubric, ready to be changed. The exit status is 0\n" +
			"whatever the grades, and 2 if nothing could be graded.",
		Example: "  widthwise grade lab3.toml handed-in\n  widthwise grade --plan --roster class.csv lab3.toml handed-in\n  widthwise grade --csv grades.csv lab3.toml handed-in",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return usageError("grade: a rubric and at least one capture or folder; %s", useLine(cmd))
			}
			return nil
		},
	}
	o.options = commonFlags(cmd)
	group(cmd, "the class", o.classFlags)
	group(cmd, printingGroup, o.printingFlags)
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.grade(cmd.Context(), o, args[0], args[1:]) }
	return cmd
}

func (o *gradeOptions) classFlags(f *pflag.FlagSet) {
	f.StringVar(&o.roster, "roster", "", "`FILE` of student,pattern: whose files are whose")
	f.StringVar(&o.answers, "answers", "", "`FILE` of student,question,value: what the students read")
	f.BoolVar(&o.plan, "plan", false, "show students, files and channels, and grade nothing")
}

func (o *gradeOptions) printingFlags(f *pflag.FlagSet) {
	f.BoolVar(&o.json, "json", false, "one JSON document over the class")
	o.page.flags(f)
	f.StringVar(&o.csv, "csv", "", "`FILE` write the gradebook; - for standard output, and nothing else there")
}

// lesson is what a class is graded by.
type lesson struct {
	rubric  *grade.Rubric
	roster  grade.Roster
	answers map[string]grade.Answers
	rules   *rules
}

// grade grades all captures side by side and tells of them in order.
func (a *app) grade(ctx context.Context, o *gradeOptions, rubric string, args []string) error {
	both := o.alone()
	err := firstRefusal(
		refusal{len(both) > 1, phrase.And(both) + ": both to standard output; a file for one of them"},
		refusal{o.plan && (o.json || o.csv != "" || o.page.html != ""), "--plan: grades nothing that --json, --csv or --html could tell; leave one of them out"},
	)
	if err != nil {
		return err
	}
	l, err := readLesson(o, rubric)
	if err != nil {
		return err
	}
	files, err := a.findCaptures(args, append(earlier(o.csv, o.page.html), rubric, o.roster, o.answers, o.limits)...)
	if err != nil {
		return err
	}
	if len(files) == 0 && o.roster == "" {
		return noCapture(args[0])
	}
	if err := spare(append(pathsOf(files), rubric, o.roster, o.answers, o.limits), o.csv, o.page.html); err != nil {
		return err
	}
	if names := l.strangers(files); len(names) > 0 {
		a.warn(o.answers, "answers of "+phrase.And(names)+", whom neither a capture nor the roster names; --plan shows who is called what")
	}
	if o.plan {
		return a.writePlan(l, o, files)
	}
	all := a.gradeAll(ctx, l, o, files)
	if err := ctx.Err(); err != nil {
		return err
	}
	var handedIn []grade.Graded
	for _, g := range all {
		a.warnings(g.File, g.warnings)
		handedIn = append(handedIn, g.Graded)
	}
	class := grade.NewClass(l.rubric, handedIn, l.roster.Missing(func(student string) bool {
		return slices.ContainsFunc(handedIn, func(g grade.Graded) bool { return g.Student == student })
	}))
	if class.Ungraded() {
		a.ended(exitUnreadable)
	}
	return a.writeClass(class, o)
}

func readLesson(o *gradeOptions, rubric string) (*lesson, error) {
	l := &lesson{}
	var err error
	if l.rules, err = newRules(o.options); err != nil {
		return nil, err
	}
	for _, f := range []struct {
		name  string
		parse func(string, []byte) error
	}{
		{rubric, func(name string, text []byte) (err error) { l.rubric, err = grade.ParseRubric(name, text); return err }},
		{o.roster, func(name string, text []byte) (err error) { l.roster, err = grade.ParseRoster(name, text); return err }},
		{o.answers, func(name string, text []byte) (err error) {
			l.answers, err = grade.ClassAnswers(name, text)
			return err
		}},
	} {
		if f.name == "" {
			continue
		}
		text, err := readSmall(f.name)
		if err != nil {
			return nil, err
		}
		if err := f.parse(f.name, text); err != nil {
			return nil, err
		}
	}
	return l, nil
}

// student names whose a file is: by the roster, by the folder that holds it
// alone, or by its name.
func (l *lesson) student(f found) string {
	if s := l.roster.Student(f.path); s != "" {
		return s
	}
	if f.alone != "" {
		return f.alone
	}
	return grade.StudentOf(f.path)
}

// strangers lists those who have answers and nothing else: their names may be
// misspelt.
func (l *lesson) strangers(files []found) []string {
	names := maps.Keys(l.answers)
	slices.Sort(names)
	return slices.DeleteFunc(names, func(name string) bool {
		return slices.ContainsFunc(files, func(f found) bool { return l.student(f) == name }) ||
			slices.ContainsFunc(l.roster, func(e grade.Entry) bool { return e.Student == name })
	})
}

// answersOf gathers what a student wrote in the file of the class and beside
// the capture.
func (l *lesson) answersOf(f found) (grade.Answers, error) {
	all := l.answers[l.student(f)]
	for _, stem := range []string{grade.StudentOf(f.path), l.student(f)} {
		name := filepath.Join(filepath.Dir(f.path), stem+".answers.toml")
		if strings.ContainsRune(stem, filepath.Separator) {
			continue
		}
		if _, err := os.Stat(name); err != nil {
			continue
		}
		text, err := readSmall(name)
		if err != nil {
			return all, err
		}
		own, err := grade.ParseAnswers(name, text)
		if err != nil {
			return all, err
		}
		return all.With(own), nil
	}
	return all, nil
}

// graded is a file that was graded, and what a reader has to know of it.
type graded struct {
	grade.Graded
	warnings []string
}

// gradeAll grades files side by side.
func (a *app) gradeAll(ctx context.Context, l *lesson, o *gradeOptions, files []found) (all []graded) {
	sizes := map[int64]int{}
	var total int64
	for _, f := range files {
		sizes[f.size]++
		total += f.size
	}
	var bar progress
	if a.openProgress != nil && o.progress == "auto" && !o.quiet {
		bar = a.openProgress(total, "grading")
		defer bar.finish()
	}
	for f, g := range inOrder(ctx, files, func(ctx context.Context, f found) graded {
		g := a.gradeOne(ctx, l, o, f)
		if f.size > 0 && sizes[f.size] > 1 {
			g.Sum = sum(f.path)
		}
		return g
	}) {
		all = append(all, g)
		if bar != nil {
			bar.add(int(f.size))
		}
	}
	return all
}

// gradeOne reads a capture and grades it.
func (a *app) gradeOne(ctx context.Context, l *lesson, o *gradeOptions, f found) (g graded) {
	g.Student, g.File = l.student(f), f.path
	answers, err := l.answersOf(f)
	if err != nil {
		g.Err = oneLine(wording(err))
		return g
	}
	own := *o.options
	own.progress = "never" // the class has a bar of its own
	for _, name := range l.rubric.Names() {
		own.read.IfThere = append(own.read.IfThere, answers.Channel(name))
	}
	c, err := a.read(ctx, f.path, &own, l.rules, a.openCapture)
	if err != nil {
		g.Err = oneLine(wording(err))
		return g
	}
	told := c.report()
	g.Results = l.rubric.Grade(&grade.HandIn{Report: told, Analysis: c.analysis, Answers: answers,
		MinFrames: func(channel string) int64 { return c.limits.For(channel).MinFrames }})
	g.Recording = alike.Keep(c.analysis)
	g.warnings = decode.Texts(c.analysis.Origin.Warnings)
	o.page.add(f.path, told, c)
	return g
}

// sum tells files of equal bytes.
func sum(name string) string {
	f, err := os.Open(name)
	if err != nil {
		return ""
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return ""
	}
	return string(h.Sum(nil))
}

// alone names what goes to standard output and leaves no room for the text.
func (o *gradeOptions) alone() []string {
	var out []string
	for flag, set := range map[string]bool{"--csv -": o.csv == "-", "--html -": o.page.html == "-", "--json": o.json} {
		if set {
			out = append(out, flag)
		}
	}
	slices.Sort(out)
	slices.Reverse(out)
	return out
}

// writeClass writes the files that were asked for, and the document or the text.
func (a *app) writeClass(class *grade.Class, o *gradeOptions) error {
	if err := writeOut(o.csv, a.out, class.WriteCSV); err != nil {
		return err
	}
	if err := o.page.write(a.out, class); err != nil {
		return err
	}
	if !o.json && len(o.alone()) > 0 {
		return nil
	}
	return show(a, o.options, o.json, class, nil, text.Class)
}

// writePlan shows whose files are whose and which channels they hold.
func (a *app) writePlan(l *lesson, o *gradeOptions, files []found) error {
	var rows []text.Planned
	for _, f := range files {
		row := text.Planned{Student: l.student(f), File: f.path}
		reader, closeFile, err := a.openCapture(f.path, o.options, l.rules)
		if err != nil {
			row.Err = oneLine(wording(err))
		} else {
			for _, c := range reader.Channels() {
				row.Channels = append(row.Channels, c.Name)
			}
			reader.Close()
			closeFile()
		}
		rows = append(rows, row)
	}
	for _, student := range l.roster.Missing(func(student string) bool {
		return slices.ContainsFunc(rows, func(p text.Planned) bool { return p.Student == student })
	}) {
		rows = append(rows, text.Planned{Student: student, Err: "nothing handed in"})
	}
	p := text.NewSheet(a.style(o.color))
	text.Plan(p, rows)
	_, err := p.WriteTo(a.out)
	return err
}
