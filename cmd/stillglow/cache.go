package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"stillglow/cmd/stillglow/pipeline"
)

// cacheFlags is how commands let the user place or leave out the cache.
type cacheFlags struct {
	dir string
	off bool
}

func (f *cacheFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.dir, "cache", "", "folder for results of unchanged captures (default: stillglow in the user's cache folder)")
	cmd.Flags().BoolVar(&f.off, "no-cache", false, "measure every capture afresh and keep nothing")
}

func (f *cacheFlags) open() (*pipeline.Cache, error) {
	if f.off {
		return nil, nil
	}
	return pipeline.OpenCache(f.dir)
}

func newCacheCmd() *cobra.Command {
	var dir string
	// withCache hands on the cache and its entries; without a home folder there is
	// no cache and nothing to say.
	withCache := func(say func(c *pipeline.Cache, paths []string, megabytes float64) error) error {
		c, err := pipeline.OpenCache(dir)
		if err != nil || c == nil {
			return err
		}
		paths, size, err := c.Entries()
		if err != nil {
			return err
		}
		return say(c, paths, float64(size)/1e6)
	}
	cmd := &cobra.Command{
		Use:   "cache",
		Short: "Show where results are kept, or delete them",
		Long: `Measurements of captures, the post-filters found for near misses, and pictures are
kept by content and settings, so that a report of unchanged captures is quick. This
shows the folder and what it holds; "cache clear" deletes the tool's own entries in it
and nothing else.`,
		Example: "  stillglow cache\n  stillglow cache clear",
		Args:    wantArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withCache(func(c *pipeline.Cache, paths []string, megabytes float64) error {
				fmt.Fprintf(cmd.OutOrStdout(), "%s: %d results and pictures, %.1f MB\n", c.Dir(), len(paths), megabytes)
				return nil
			})
		},
	}
	cmd.PersistentFlags().StringVar(&dir, "cache", "", "the folder (default: stillglow in the user's cache folder)")
	cmd.AddCommand(&cobra.Command{
		Use:     "clear",
		Short:   "Delete the kept results",
		Example: "  stillglow cache clear",
		Args:    wantArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withCache(func(c *pipeline.Cache, paths []string, megabytes float64) error {
				for _, p := range paths {
					if err := os.Remove(p); err != nil && !os.IsNotExist(err) {
						return err
					}
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s: deleted %d results and pictures, %.1f MB\n", c.Dir(), len(paths), megabytes)
				return nil
			})
		},
	})
	return cmd
}
