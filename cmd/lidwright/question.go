package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"lidwright/config"
)

// question is one that setup asks: of a person, or of a file of answers under its key.
type question struct {
	key      string
	asks     string
	standard string // what an empty answer means; "" = there must be an answer
	check    func(text string) error
}

// asker puts questions to whoever answers.
type asker interface {
	ask(ctx context.Context, q question) (string, error)
	left(later ...string) error // answers that no question was for, but those of questions still to come
}

// person answers line by line; a wrong answer is asked again.
type person struct {
	lines <-chan string
	out   io.Writer
}

func newPerson(in io.Reader, out io.Writer) *person {
	lines := make(chan string)
	go func() { // ends with the program where nobody answers any more
		defer close(lines)
		for s := bufio.NewScanner(in); s.Scan(); {
			lines <- s.Text()
		}
	}()
	return &person{lines: lines, out: out}
}

func (p *person) ask(ctx context.Context, q question) (string, error) {
	for {
		fmt.Fprintf(p.out, "%s", q.asks)
		if q.standard != "" {
			fmt.Fprintf(p.out, " [%s]", q.standard)
		}
		fmt.Fprint(p.out, ": ")
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case line, more := <-p.lines:
			if !more {
				fmt.Fprintln(p.out)
				return "", &exit{exitWrongUse,
					fmt.Sprintf("the answers ended at the question %q; nothing was written", q.key)}
			}
			text, err := q.settle(line)
			if err == nil {
				return text, nil
			}
			fmt.Fprintf(p.out, "  %v\n", err)
		}
	}
}

func (*person) left(...string) error { return nil }

// settle turns what was typed into an answer.
func (q question) settle(typed string) (string, error) {
	text := strings.TrimSpace(typed)
	if text == "" {
		text = q.standard
	}
	if text == "" {
		return "", fmt.Errorf("an answer is needed")
	}
	if q.check == nil {
		return text, nil
	}
	return text, q.check(text)
}

// sheet is a file of answers.
type sheet struct {
	file    string
	answers map[string]config.Answer
	used    map[string]bool
	out     io.Writer
}

func (s *sheet) ask(_ context.Context, q question) (string, error) {
	a, given := s.answers[q.key]
	s.used[q.key] = true
	text, err := q.settle(a.Text)
	switch {
	case err != nil && !given:
		return "", config.Mistakes{{File: s.file, Line: 1, Key: q.key, Says: "is needed: " + q.asks}}
	case err != nil:
		return "", config.Mistakes{{File: s.file, Line: a.Line, Key: q.key, Says: err.Error()}}
	}
	fmt.Fprintf(s.out, "%s: %s\n", q.asks, text)
	return text, nil
}

func (s *sheet) left(later ...string) error {
	var wrong config.Mistakes
	for _, key := range slices.Sorted(maps.Keys(s.answers)) {
		if !s.used[key] && !slices.Contains(later, key) {
			wrong = append(wrong, config.Mistake{File: s.file, Line: s.answers[key].Line, Key: key,
				Says: "was not asked; leave it out, or look at the answers before it"})
		}
	}
	if len(wrong) > 0 {
		return wrong
	}
	return nil
}

// oneOf lets one of some words through.
func oneOf(words ...string) func(string) error {
	return func(text string) error {
		if slices.Contains(words, text) {
			return nil
		}
		return fmt.Errorf("%q: must be one of %s", text, strings.Join(words, ", "))
	}
}
