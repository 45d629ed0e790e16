package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"os"
	"time"

	"lidwright/api/wire"

	"github.com/spf13/cobra"

	"lidwright/api"
	"lidwright/api/usecase"
	"lidwright/config"
	"lidwright/daemon"
)

// copyCommand makes copies of everything and puts one back.
func copyCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "copy", Short: "Make a copy of everything, list the copies, put one back",
		Long: "Copies are made by the daemon at the end of each firing and once a day, checked, and kept in copies/ of the\n" +
			"store folder; copy.target in the settings names a second place, such as a folder on a stick.",
		Example: "  sudo -u lidwright lidwright copy make\n  sudo -u lidwright lidwright copy restore /media/stick",
	}
	mk := &cobra.Command{
		Use: "make", Short: "Make a copy now, unless the newest has everything", Args: cobra.NoArgs,
		Long:    "A running daemon is asked to do it (owner passcode); where none runs, the store of the settings is copied.",
		Example: "  lidwright copy make --code-file owner.txt\n  sudo -u lidwright lidwright copy make --config /etc/lidwright/lidwright.toml",
		RunE:    func(c *cobra.Command, _ []string) error { return copies(c, true) },
	}
	list := &cobra.Command{
		Use: "list", Short: "The copies there are, newest first", Args: cobra.NoArgs,
		Example: "  lidwright copy list\n  lidwright copy list --store /media/stick/lidwright",
		RunE:    func(c *cobra.Command, _ []string) error { return copies(c, false) },
	}
	renew := &cobra.Command{
		Use: "renew", Short: "Take the marks of forgotten makers out of copies that still have them",
		Args:    cobra.NoArgs,
		Long:    "Each such copy is written anew under its own name, everything else in it as it was. A running daemon is asked\nto do it (owner passcode); where none runs, the copies of the settings' store are taken.",
		Example: "  lidwright copy renew --code-file owner.txt\n  sudo -u lidwright lidwright copy renew --config /etc/lidwright/lidwright.toml",
		RunE:    renewCopies,
	}
	restore := &cobra.Command{
		Use: "restore FILE|FOLDER", Short: "Put a copy in the place of the store; the present file is kept beside it", Args: cobra.ExactArgs(1),
		Long: "FILE is a copy, FOLDER one that holds copies, such as a stick: the newest good one is taken. The daemon must\n" +
			"be stopped. The file that is there now is moved aside and never deleted.",
		Example: "  sudo systemctl stop lidwright\n  sudo -u lidwright lidwright copy restore /media/stick\n  sudo systemctl start lidwright",
		RunE: func(c *cobra.Command, args []string) error {
			cfg, err := settings(c)
			if err != nil {
				return err
			}
			if _, err := os.Stat(args[0]); err != nil {
				return unreadable("FILE|FOLDER", args[0], err)
			}
			if daemon.Running(cfg) {
				return &exit{exitCannotStart, "a daemon has the store in " + cfg.Store.Folder +
					" open; stop it first: sudo systemctl stop lidwright"}
			}
			working := works(c, "Reading the copy through")
			copied, aside, err := daemon.RestoreCopy(c.Context(), cfg, args[0])
			working()
			if err != nil {
				return err
			}
			if asJSON, _ := c.Flags().GetBool("json"); asJSON {
				return printJSON(c, map[string]any{"copy": copied, "store": cfg.Store.Folder,
					"kept": append([]string{}, aside...)})
			}
			fmt.Fprintf(c.OutOrStdout(), "%s is the store in %s now.\n", copied, cfg.Store.Folder)
			for _, a := range aside {
				fmt.Fprintf(c.OutOrStdout(), "What was there is kept: %s\n", a)
			}
			fmt.Fprintln(c.OutOrStdout(), "Next: sudo systemctl start lidwright")
			return nil
		},
	}
	c.AddCommand(mk, list, renew, restore)
	return c
}

// installed is where the package puts the settings.
const installed = "/etc/lidwright/lidwright.toml"

// settingsOf reads the settings that --config names, or those of the package.
func settingsOf(c *cobra.Command) (config.Config, error) {
	file, _ := c.Flags().GetString("config")
	if file == "" {
		if _, err := os.Stat(installed); err == nil {
			file = installed
		}
	}
	return config.Load(file, os.Environ(), nil)
}

// settings are those of settingsOf, with a store: that of --store where it is given. Who names a daemon to
// ask means another store.
func settings(c *cobra.Command) (config.Config, error) {
	folder, _ := c.Flags().GetString("store")
	if c.Flags().Changed("site") && !c.Flags().Changed("config") && folder == "" {
		return config.Config{}, &exit{exitWrongUse,
			"this works in the store's folder and asks no daemon: name the settings with --config, not --site"}
	}
	cfg, err := settingsOf(c)
	cfg.Store.Folder = cmp.Or(folder, cfg.Store.Folder)
	if err == nil && cfg.Store.Folder == "" {
		err = &exit{exitWrongUse, "store.folder is not set; name the settings with --config, or its folder with --store"}
	}
	return cfg, err
}

// copies makes a copy or lists them: over the daemon where one runs, else in the folder itself.
func copies(c *cobra.Command, make bool) error {
	var answer wire.Copies
	working := func() {}
	if make {
		working = works(c, "Copying")
	}
	raw, err := askCopies(c, make)
	working()
	if err != nil {
		return err
	}
	if done, err := show(c, raw, &answer); done || err != nil {
		return err
	}
	if answer.Made != nil && *answer.Made {
		fmt.Fprintln(c.ErrOrStderr(), "A copy is made and checked.")
	} else if answer.Made != nil {
		fmt.Fprintln(c.ErrOrStderr(), "Nothing changed since the newest copy: none is made.")
	}
	if len(answer.Items) == 0 {
		fmt.Fprintln(c.ErrOrStderr(), "There are no copies yet. One is made after each firing and once a day; now: lidwright copy make")
		return nil
	}
	rows := [][]string{{"COPY", "MADE", "MB", "IN"}}
	for _, i := range answer.Items {
		in := i.Folder
		switch {
		case in == "" && i.Second: // a daemon tells no folders
			in = "second place"
		case in == "":
			in = "store folder"
		}
		rows = append(rows, []string{i.Name, i.At, fmt.Sprintf("%.1f", float64(i.Bytes)/1e6), in})
	}
	table(c.OutOrStdout(), rows)
	return nil
}

func renewCopies(c *cobra.Command, _ []string) error {
	var raw []byte
	var err error
	if cfg, alone := aloneWith(c); alone {
		var n int
		if n, err = daemon.RenewCopies(c.Context(), cfg, version); err == nil {
			raw, err = json.Marshal(wire.Renewed{Renewed: n})
		}
	} else {
		cl, cerr := clientOf(c)
		if err = cerr; err == nil {
			raw, err = cl.Post(c.Context(), "/v1/copies/renew", struct{}{})
		}
	}
	if err != nil {
		return err
	}
	var a wire.Renewed
	if done, err := show(c, raw, &a); done || err != nil {
		return err
	}
	if a.Renewed == 0 {
		fmt.Fprintln(c.OutOrStdout(), "No copy has the mark of a forgotten maker.")
		return nil
	}
	fmt.Fprintf(c.OutOrStdout(), "%d copies are written anew, without the marks of forgotten makers.\n",
		a.Renewed)
	return nil
}

// aloneWith gives the settings where they, and no running daemon, are to be worked with.
func aloneWith(c *cobra.Command) (cfg config.Config, alone bool) {
	cfg, err := settings(c)
	named := c.Flags().Changed("config") || c.Flags().Changed("store") || !c.Flags().Changed("site")
	return cfg, err == nil && !daemon.Running(cfg) && named
}

func askCopies(c *cobra.Command, make bool) ([]byte, error) {
	cfg, alone := aloneWith(c)
	if alone || !make && c.Flags().Changed("store") { // a folder is looked into beside a daemon too
		var made *bool
		var kept []usecase.CopyKept
		var err error
		if make {
			made = new(bool)
			*made, kept, err = daemon.MakeCopy(c.Context(), cfg, version)
		} else {
			if kept, err = daemon.ListCopies(c.Context(), cfg); err == nil &&
				len(kept) == 0 && !daemon.HasStore(cfg) {
				err = fmt.Errorf("there is neither a store nor a copy in %s", cfg.Store.Folder)
			}
		}
		if err != nil {
			return nil, err
		}
		return json.MarshalIndent(api.CopiesJSON(made, kept, time.Local), "", "  ")
	}
	cl, err := clientOf(c)
	if err != nil {
		return nil, err
	}
	if make {
		return cl.Post(c.Context(), "/v1/copies", struct{}{})
	}
	return cl.Get(c.Context(), "/v1/copies", nil, "application/json")
}
