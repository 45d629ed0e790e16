package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"lidwright/api/auth"
	"lidwright/daemon"
)

// codeCommand makes and renews the two passcodes.
func codeCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "code",
		Short:   "Make or renew the passcodes",
		Example: "  lidwright code new bench\n  lidwright code new owner",
	}
	renew := &cobra.Command{
		Use:   "new bench|owner",
		Short: "Make a new code and show it once",
		Long: "The bench passcode lets a tool or phone write readings, loads, lid results and pot cards; the owner passcode also\n" +
			"clays, batches, kilns and imports. Only a hash is kept, in the file that the settings name: write the code\n" +
			"down now. A running daemon takes it at once, and every session of the old code ends.",
		Example:   "  lidwright code new bench --config lidwright.toml\n  lidwright code new owner --file /var/lib/lidwright/owner",
		Args:      cobra.ExactArgs(1),
		ValidArgs: []string{"bench", "owner"},
		RunE: func(c *cobra.Command, args []string) error {
			who, ok := auth.WhoNamed(args[0])
			if !ok {
				return &exit{exitWrongUse, args[0] + " is no code; there are bench and owner"}
			}
			file, _ := c.Flags().GetString("file")
			if file == "" {
				cfg, err := settingsOf(c)
				if err != nil {
					return err
				}
				file = map[auth.Who]string{auth.Bench: cfg.Codes.BenchFile,
					auth.Owner: cfg.Codes.OwnerFile}[who]
				if file == "" {
					return &exit{exitWrongUse,
						fmt.Sprintf("the settings name no file for it; set codes.%s_file, or give --file",
							who)}
				}
			}
			code, err := daemon.NewCode(who, file)
			if err != nil {
				return unreadable("--file", file, err)
			}
			if asJSON, _ := c.Flags().GetBool("json"); asJSON {
				return printJSON(c, map[string]string{"who": args[0], "code": code, "hash_in": file})
			}
			fmt.Fprintln(c.OutOrStdout(), code)
			fmt.Fprintf(c.ErrOrStderr(), "This is the %s code, shown this once. Its hash is in %s.\n", who,
				file)
			return nil
		},
	}
	renew.Flags().String("file", "", "file for the hash, in place of the one in the settings")
	c.AddCommand(renew)
	return c
}
