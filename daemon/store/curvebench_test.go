package store

import (
	"bufio"
	"context"
	"database/sql"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"lidwright/api/usecase"
	"lidwright/daemon/store/codec"
	"lidwright/kiln"
	"lidwright/tiles"
)

// cpu is the processor time that this process has used so far.
func cpu() time.Duration {
	var r unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &r); err != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// written is what this process handed to the kernel so far: bytes and calls.
func written() (bytes, calls float64) {
	f, err := os.Open("/proc/self/io")
	if err != nil {
		return 0, 0
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		fmt.Sscanf(lines.Text(), "wchar: %f", &bytes)
		fmt.Sscanf(lines.Text(), "syscw: %f", &calls)
	}
	return bytes, calls
}

func hours(m made) (parts [][]kiln.Sample, n int) {
	for from := time.Duration(0); from < m.length; from += time.Hour {
		part := m.samples("big-blue", beginning(1), from, min(from+time.Hour, m.length))
		parts = append(parts, part)
		n += 3 * len(part)
	}
	return parts, n
}

func BenchmarkSeal(b *testing.B) {
	for _, step := range []kiln.Celsius{0.1, 0.25, 1} {
		b.Run(fmt.Sprint(step), func(b *testing.B) {
			m := firingOf(b, glaze, step, 1)
			parts, n := hours(m)
			size, began := 0, cpu()
			for b.Loop() {
				size = 0
				for _, part := range parts {
					size += len(codec.Encode(part, true))
				}
			}
			b.ReportMetric(float64(size)/float64(n), "B/sample")
			b.ReportMetric(float64(size)/float64(n)/m.entropy(), "x-bound")
			b.ReportMetric((cpu()-began).Seconds()*1e9/float64(n)/float64(b.N), "cpu-ms/1M")
		})
	}
}

func BenchmarkUnseal(b *testing.B) {
	for _, step := range []kiln.Celsius{0.1, 0.25, 1} {
		b.Run(fmt.Sprint(step), func(b *testing.B) {
			parts, n := hours(firingOf(b, glaze, step, 1))
			var blocks [][]byte
			for _, part := range parts {
				blocks = append(blocks, codec.Encode(part, true))
			}
			began := cpu()
			for b.Loop() {
				for _, block := range blocks {
					if _, err := codec.DecodeBlock(block); err != nil {
						b.Fatal(err)
					}
				}
			}
			b.ReportMetric((cpu()-began).Seconds()*1e9/float64(n)/float64(b.N), "cpu-ms/1M")
		})
	}
}

// manyFirings is a store with n firings of its own making; curves of every one if full, else only
// summaries.
func manyFirings(b *testing.B, folder string, n int, full bool) (bound float64) {
	b.Helper()
	s := must[*Store](b)(Open(context.Background(), folder))
	for i := range n {
		m := firingOf(b, glaze, 0.1, uint64(i))
		f := m.whole(kiln.FiringID(uuid('f', i)), "big-blue", beginning(uint64(i)))
		f.Source = "import"
		var samples []kiln.Sample
		if full {
			samples = m.samples(f.Kiln, f.Began, 0, m.length)
			bound += m.entropy() * float64(3*len(samples))
		}
		if _, err := s.PutFiring(context.Background(), f, samples, i,
			usecase.Precondition{}, when); err != nil {
			b.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	return bound
}

// BenchmarkDataFolder is how much twenty firings take on the disk, all in, without copies.
func BenchmarkDataFolder(b *testing.B) {
	for b.Loop() {
		folder := b.TempDir()
		const firings = 20
		bound := manyFirings(b, folder, firings, true)
		size := int64(0)
		for _, e := range must[[]os.DirEntry](b)(os.ReadDir(folder)) {
			size += must[os.FileInfo](b)(e.Info()).Size()
		}
		samples := float64(firings * 3 * firingOf(b, glaze, 0.1, 1).length / time.Second)
		b.ReportMetric(float64(size)/samples, "B/sample")
		b.ReportMetric(float64(size)/bound, "x-bound")
		b.ReportMetric(float64(size)/firings/1000, "kB/firing")
	}
}

// BenchmarkAppend plays an hour of three channels in batches of five seconds, with the end of
// each hour sealed, as fast as it goes. With LIDWRIGHT_BENCH_DEV set to the folder of a disk of
// its own, bytes and flushes of that device are counted too.
func BenchmarkAppend(b *testing.B) {
	folder := b.TempDir()
	if dev := os.Getenv("LIDWRIGHT_BENCH_DEV"); dev != "" {
		folder = must[string](b)(os.MkdirTemp(dev, "append"))
	}
	s := must[*Store](b)(Open(context.Background(), folder))
	defer s.Close()
	m := firingOf(b, glaze, 0.1, 1)
	f := m.whole("f", "big-blue", beginning(1))
	must[int](b)(s.BeginFiring(context.Background(), running(f), nil))
	commits := 0
	hour := func(h int) {
		for age := time.Duration(h) * time.Hour; age < time.Duration(h+1)*time.Hour; age += 5 * time.Second {
			if err := s.AppendCurve(context.Background(), "f", m.samples(f.Kiln, f.Began, age,
				age+5*time.Second)); err != nil {
				b.Fatal(err)
			}
			commits++
		}
	}
	for h := range 3 { // let the log reach its working size
		hour(h)
	}
	commits = 0
	h := 3
	bytes, calls := written()
	sectors, flushes := device(folder)
	began := cpu()
	for b.Loop() {
		hour(h)
		h++
	}
	used := cpu() - began
	nowBytes, nowCalls := written()
	nowSectors, nowFlushes := device(folder)
	b.ReportMetric((nowBytes-bytes)/1e6/float64(b.N), "MB-written/h")
	b.ReportMetric((nowCalls-calls)/float64(commits), "writes/commit")
	if sectors > 0 {
		b.ReportMetric((nowSectors-sectors)*512/1e6/float64(b.N), "device-MB/h")
		b.ReportMetric((nowFlushes-flushes)/float64(b.N), "flushes/h")
	}
	b.ReportMetric(used.Seconds()/36, "cpu-%/b.N") // of a core, at one hour an hour
	b.ReportMetric(used.Seconds()*1000/float64(commits), "cpu-ms/commit")
}

// BenchmarkRealTime records as a kiln does, one commit in five seconds, because the file system
// adds writes of its own each few seconds: half a minute of it, four minutes on a disk of its own.
func BenchmarkRealTime(b *testing.B) {
	folder, length := b.TempDir(), 30*time.Second
	if dev := os.Getenv("LIDWRIGHT_BENCH_DEV"); dev != "" {
		folder, length = must[string](b)(os.MkdirTemp(dev, "real")), 240*time.Second
	}
	s := must[*Store](b)(Open(context.Background(), folder))
	defer s.Close()
	m := firingOf(b, glaze, 0.1, 1)
	f := m.whole("f", "big-blue", beginning(1))
	must[int](b)(s.BeginFiring(context.Background(), running(f), nil))
	age := time.Duration(0)
	record := func(until time.Duration, every time.Duration) {
		for ; age < until; age += 5 * time.Second {
			if err := s.AppendCurve(context.Background(), "f", m.samples(f.Kiln, f.Began, age,
				age+5*time.Second)); err != nil {
				b.Fatal(err)
			}
			time.Sleep(every)
		}
	}
	record(3*time.Hour, 0) // let the log reach its working size
	unix.Sync()
	sectors, flushes := device(folder)
	bytes := stored()
	scale := 0.0
	for b.Loop() {
		record(age+length, 5*time.Second)
		scale += length.Hours()
	}
	if s, f := device(folder); s > 0 {
		b.ReportMetric((s-sectors)*512/1e6/scale, "device-MB/h")
		b.ReportMetric((f-flushes)/scale, "flushes/h")
	}
	b.ReportMetric((stored()-bytes)/1e6/scale, "stored-MB/h")
}

// stored is how many bytes this process caused to be sent to a disk so far (proc(5), io: write_bytes).
func stored() (bytes float64) {
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "\nwrite_bytes: ")
	fmt.Sscan(rest, &bytes)
	return bytes
}

// device is what was written to the block device of a folder: sectors of 512 bytes, flushes.
func device(folder string) (sectors, flushes float64) {
	var st unix.Stat_t
	if os.Getenv("LIDWRIGHT_BENCH_DEV") == "" || unix.Stat(folder, &st) != nil {
		return 0, 0
	}
	text, err := os.ReadFile(fmt.Sprintf("/sys/dev/block/%d:%d/stat", unix.Major(st.Dev), unix.Minor(st.Dev)))
	if err != nil {
		return 0, 0
	}
	// kernel documentation, block/stat: 7th is sectors written, 16th flushes
	fields := strings.Fields(string(text))
	if len(fields) < 16 {
		return 0, 0
	}
	fmt.Sscan(fields[6], &sectors)
	fmt.Sscan(fields[15], &flushes)
	return sectors, flushes
}

// BenchmarkEnvelope is a finished firing of 3 x 60,000 samples as 800 points, all channels.
func BenchmarkEnvelope(b *testing.B) {
	s := openStore(b)
	m := firingOf(b, glaze, 0.1, 1)
	m.length = 60_000 * time.Second
	f := m.whole("f", "big-blue", beginning(1))
	samples := m.samples(f.Kiln, f.Began, 0, m.length)
	f.Source = "import"
	must[tiles.PutResult](b)(s.PutFiring(context.Background(), f, samples, 1, usecase.Precondition{}, when))
	run := func(b *testing.B, points func() (int, error)) {
		var took []time.Duration
		for b.Loop() {
			began := time.Now()
			if n, err := points(); err != nil || n < 300 {
				b.Fatal(n, err)
			}
			took = append(took, time.Since(began))
		}
		slices.Sort(took)
		b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
	}
	b.Run("stored", func(b *testing.B) {
		run(b, func() (int, error) {
			e, _, err := s.Envelopes(context.Background(), "f", nil, 0, 800)
			return len(e[0].After), err
		})
	})
	b.Run("decoded", func(b *testing.B) { // the yardstick: what it would take without
		run(b, func() (int, error) {
			c, err := s.Curve(context.Background(), "f", nil, time.Minute)
			return len(c.Thin("1", time.Minute).Points(800).After), err
		})
	})
}

// BenchmarkWholeFiring reads every reading of a firing of 3 x 60,000.
func BenchmarkWholeFiring(b *testing.B) {
	s := openStore(b)
	m := firingOf(b, glaze, 0.1, 1)
	m.length = 60_000 * time.Second
	f := m.whole("f", "big-blue", beginning(1))
	f.Source = "import"
	must[tiles.PutResult](b)(s.PutFiring(context.Background(), f, m.samples(f.Kiln, f.Began, 0, m.length), 1,
		usecase.Precondition{}, when))
	b.ReportAllocs()
	for b.Loop() {
		c, err := s.Curve(context.Background(), "f", nil, time.Minute)
		if err != nil || len(c.After) != 60_000 {
			b.Fatal(len(c.After), err)
		}
	}
}

// BenchmarkListFirings lists a thousand, with the bare table beside it.
func BenchmarkListFirings(b *testing.B) {
	folder := b.TempDir()
	manyFirings(b, folder, 1000, false)
	s := must[*Store](b)(Open(context.Background(), folder))
	defer s.Close()
	b.Run("all", func(b *testing.B) {
		began := cpu()
		for b.Loop() {
			list, err := s.Firings(context.Background(), kiln.FiringFilter{})
			if err != nil || len(list) != 1000 {
				b.Fatal(len(list), err)
			}
		}
		b.ReportMetric((cpu()-began).Seconds()*1000/float64(b.N), "cpu-ms")
	})
	b.Run("page", func(b *testing.B) {
		for b.Loop() {
			list, err := s.Firings(context.Background(), kiln.FiringFilter{Kiln: "big-blue", Limit: 50})
			if err != nil || len(list) != 50 {
				b.Fatal(len(list), err)
			}
		}
	})
	b.Run("bare", func(b *testing.B) { // the yardstick: SQLite alone gives the same rows
		for b.Loop() {
			rows := must[*sql.Rows](b)(s.read.Query(`SELECT summary FROM firing ORDER BY began_ms DESC`))
			n := 0
			for rows.Next() {
				n++
			}
			if err := rows.Close(); err != nil || n != 1000 {
				b.Fatal(n, err)
			}
		}
	})
}

// BenchmarkOpenTenYears opens a store of a thousand firings; LIDWRIGHT_SOAK=1 gives them their
// curves, which takes minutes to make. Ready means that the list was given once.
func BenchmarkOpenTenYears(b *testing.B) {
	folder := b.TempDir()
	manyFirings(b, folder, 1000, os.Getenv("LIDWRIGHT_SOAK") != "")
	used, _, _ := (over(&handle{folder: folder, freeIn: freeIn})).Size()
	b.ResetTimer()
	for b.Loop() {
		s := must[*Store](b)(Open(context.Background(), folder))
		if list, err := s.Firings(context.Background(), kiln.FiringFilter{Limit: 50}); err != nil ||
			len(list) != 50 {
			b.Fatal(len(list), err)
		}
		s.Close()
	}
	b.ReportMetric(float64(used)/1e6, "MB")
}

// BenchmarkImport stores a million samples from memory.
func BenchmarkImport(b *testing.B) {
	s := openStore(b)
	m := firingOf(b, glaze, 0.1, 1)
	samples := m.samples("big-blue", beginning(1), 0, m.length)
	var used time.Duration
	n := 0
	for b.Loop() {
		f := m.whole(kiln.FiringID(uuid('f', n)), "big-blue", beginning(1))
		f.Source = "import"
		began := cpu()
		if _, err := s.PutFiring(context.Background(), f, samples, 1,
			usecase.Precondition{}, when); err != nil {
			b.Fatal(err)
		}
		used += cpu() - began
		n++
	}
	b.ReportMetric(used.Seconds()*1e9/float64(3*len(samples)*n), "cpu-ms/1M")
}

// BenchmarkCopy copies a store of twenty firings (a thousand with LIDWRIGHT_SOAK: ten years, minutes
// to make) after each further one, with seven copies kept, and tells what the copies of a year write:
// one after each of a hundred firings and one a day, each as if a whole firing had come since. Goal: 15 GB.
func BenchmarkCopy(b *testing.B) {
	folder := b.TempDir()
	before := rounds(20, 1000)
	manyFirings(b, folder, before, true)
	s := must[*Store](b)(Open(context.Background(), folder))
	defer s.Close()
	furnish(b, s, "BQ7")
	m := firingOf(b, glaze, 0.1, 1)
	samples := m.samples("big-blue", beginning(1), 0, m.length)
	var wrote float64
	n := 0
	another := func() {
		n++
		f := m.whole(kiln.FiringID(uuid('g', n)), "big-blue", beginning(uint64(n)))
		f.Source = "import"
		must[tiles.PutResult](b)(s.PutFiring(context.Background(), f, samples, before+n,
			usecase.Precondition{}, when))
		must[tiles.PutResult](b)(s.PutReading(context.Background(), reading(n, "BQ7", tiles.Fired, "87.60"),
			later(time.Duration(n)*time.Second)))
		bytes, _ := written()
		if made, err := s.Copy(context.Background()); err != nil || !made {
			b.Fatal(made, err)
		}
		now, _ := written()
		wrote += now - bytes
	}
	for range 7 {
		another()
	}
	first := n
	wrote = 0
	b.ResetTimer()
	for b.Loop() {
		another()
	}
	used, _, _ := s.Size()
	b.ReportMetric(wrote/float64(n-first)/1e6, "MB-written/copy")
	b.ReportMetric(float64(used)/1e6, "MB-store")
	b.ReportMetric(wrote/float64(n-first)*465/1e9, "GB/year")
}
