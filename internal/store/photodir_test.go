package store_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
)

func openPhotos(t testing.TB, folder string) *store.PhotoDir {
	t.Helper()
	d, err := store.OpenPhotoDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.Close() })
	return d
}

// bulky is the bytes of a photo that takes its time to be written.
func bulky(n uint64) ([]byte, seal.Hash) {
	data := bytes.Repeat(binary.BigEndian.AppendUint64(nil, n), 64<<10)
	return data, seal.HashOf(data)
}

func bytesOf(t testing.TB, d *store.PhotoDir, hash seal.Hash) []byte {
	t.Helper()
	f, err := d.Open(hash)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// files lists what is in the folder: names of kept photos put together again, and names of unfinished ones.
func files(t testing.TB, folder string) (kept, unfinished []string) {
	t.Helper()
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(folder, path)
		if strings.HasPrefix(name, "unfinished-") {
			unfinished = append(unfinished, name)
		} else {
			kept = append(kept, strings.ReplaceAll(name, "/", ""))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return kept, unfinished
}

func TestAPhotoIsKeptOnceAndFoundAgain(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "made", "with", "parents")
	d := openPhotos(t, folder)
	data, hash := bulky(1)
	if _, err := d.Open(hash); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("before it was kept: %v", err)
	}
	for range 2 {
		if err := d.Keep(t.Context(), hash, data); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(bytesOf(t, openPhotos(t, folder), hash), data) {
		t.Error("other bytes came back")
	}
	if kept, unfinished := files(t, folder); len(kept) != 1 || kept[0] != hash.String() || len(unfinished) != 0 {
		t.Errorf("kept %v, unfinished %v", kept, unfinished)
	}
}

func TestManyWritersOfOnePhotoLeaveOneWholeFile(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	servers := []*store.PhotoDir{openPhotos(t, folder), openPhotos(t, folder)}
	data, hash := bulky(2)
	var all sync.WaitGroup
	for i := range 16 {
		all.Go(func() {
			if err := servers[i%2].Keep(t.Context(), hash, data); err != nil {
				t.Error(err)
			}
			if !bytes.Equal(bytesOf(t, servers[i%2], hash), data) { // whoever was told so finds it whole
				t.Error("half a photo")
			}
		})
	}
	all.Wait()
	if kept, unfinished := files(t, folder); len(kept) != 1 || len(unfinished) != 0 {
		t.Errorf("kept %v, unfinished %v", kept, unfinished)
	}
}

func TestAPhotoThatCannotBeWrittenLeavesNothing(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	d := openPhotos(t, folder)
	data, hash := bulky(3)
	if err := os.WriteFile(filepath.Join(folder, hash.String()[:2]), nil, 0o600); err != nil { // where its folder belongs
		t.Fatal(err)
	}
	if err := d.Keep(t.Context(), hash, data); err == nil {
		t.Error("kept in a folder that is a file")
	}
	if _, unfinished := files(t, folder); len(unfinished) != 0 {
		t.Errorf("unfinished %v", unfinished)
	}
}

func TestTheSweepTakesWhatACrashLeftAndNothingThatIsBeingWritten(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	left, held := filepath.Join(folder, "unfinished-1-1"), filepath.Join(folder, "unfinished-2-1")
	for _, name := range []string{left, held} {
		if err := os.WriteFile(name, []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.Open(held)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX); err != nil {
		t.Fatal(err)
	}
	openPhotos(t, folder)
	if _, unfinished := files(t, folder); len(unfinished) != 1 || unfinished[0] != filepath.Base(held) {
		t.Errorf("unfinished %v", unfinished)
	}
}

func TestKill9KeepsEveryPhotoThatWasAcknowledgedAndNoHalfOne(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	acknowledged := map[string]bool{}
	for round := range 6 {
		writer := exec.CommandContext(t.Context(), os.Args[0])
		writer.Env = append(os.Environ(), killedWriterEnv+"="+folder, fmt.Sprintf("%s=%d", killedRoundEnv, round))
		out, err := writer.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := writer.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for n := 0; n < 5+7*round && lines.Scan(); n++ {
			acknowledged[lines.Text()] = true
		}
		if err := writer.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		for lines.Scan() { // what it had still said
			if len(lines.Text()) == 64 {
				acknowledged[lines.Text()] = true
			}
		}
		if err := writer.Wait(); err == nil {
			t.Fatal("it ended by itself")
		}
		d := openPhotos(t, folder)
		kept, unfinished := files(t, folder)
		if len(unfinished) != 0 {
			t.Errorf("round %d: unfinished %v", round, unfinished)
		}
		there := map[string]bool{}
		for _, name := range kept {
			there[name] = true
			hash, err := seal.ParseHash(name)
			if err != nil {
				t.Fatal(err)
			}
			if seal.HashOf(bytesOf(t, d, hash)) != hash {
				t.Errorf("round %d: %s has other bytes", round, name)
			}
		}
		for name := range acknowledged {
			if !there[name] {
				t.Errorf("round %d: %s was acknowledged and is gone", round, name)
			}
		}
	}
	if len(acknowledged) < 60 {
		t.Errorf("only %d photos were acknowledged", len(acknowledged))
	}
}

const (
	killedWriterEnv = "LINTEL_TEST_KILLED_WRITER"
	killedRoundEnv  = "LINTEL_TEST_KILLED_ROUND"
)

// playKilledWriter is the program that the test above kills: four at once write photos and say so, until the end.
func playKilledWriter() {
	d, err := store.OpenPhotoDir(os.Getenv(killedWriterEnv))
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	var round uint64
	_, _ = fmt.Sscan(os.Getenv(killedRoundEnv), &round)
	for who := range uint64(4) {
		go func() {
			for n := uint64(0); ; n++ {
				data, hash := bulky(round<<48 | who<<32 | n)
				if err := d.Keep(context.Background(), hash, data); err != nil {
					fmt.Println(err)
					os.Exit(1)
				}
				fmt.Println(hash)
			}
		}()
	}
	select {}
}
