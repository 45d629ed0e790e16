package config

import (
	"strings"

	"github.com/spf13/pflag"
)

const envPrefix = "LIDWRIGHT_"

// bind has viper read the variables of env that begin with prefix, and the flags that were given, over the
// file. Of env the names count; viper takes the values from the environment of the process.
func (r *reader) bind(prefix string, env []string, flags *pflag.FlagSet) error {
	keys := map[string]string{} // by the name of their variable without the prefix
	var names []string
	for _, key := range r.leaves {
		name := strings.ToUpper(strings.ReplaceAll(key, ".", "_"))
		keys[name] = key
		names = append(names, name)
	}
	r.v.AllowEmptyEnv(true)
	for _, variable := range env {
		name, _, _ := strings.Cut(variable, "=")
		bare, ours := strings.CutPrefix(name, prefix)
		// An access code of the command line is no setting, and those of the collector's program are not
		// ours.
		if !ours || name == "LIDWRIGHT_CODE" || prefix != CollectPrefix &&
			strings.HasPrefix(name, CollectPrefix) {
			continue
		}
		at := Mistake{File: "environment", Key: name}
		key, ok := keys[bare]
		switch {
		case ok:
			r.source[key] = at
			if err := r.v.BindEnv(key, name); err != nil {
				return err
			}
		case strings.HasPrefix(bare, "KILN_"), strings.HasPrefix(bare, "NOTICE_WEBHOOK_"):
			at.Says = "cannot be set by environment; a named kiln or webhook stands in the file"
			r.mistakes = append(r.mistakes, at)
		default:
			at.Says = "is no setting; the nearest is " + prefix + nearest(bare, "", names)
			r.mistakes = append(r.mistakes, at)
		}
	}
	if flags == nil {
		return nil
	}
	var err error
	flags.Visit(func(f *pflag.Flag) {
		key, ok := keys[strings.ToUpper(strings.NewReplacer("-", "_", ".", "_").Replace(f.Name))]
		if ok && err == nil {
			r.source[key] = Mistake{File: "flags", Key: "--" + f.Name}
			err = r.v.BindPFlag(key, f)
		}
	})
	return err
}
