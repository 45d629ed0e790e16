package kilntest

import (
	"os/exec"
	"runtime"
	"syscall"

	"golang.org/x/sys/unix"
)

// StartChild starts a program that the kernel ends with the signal when this one dies.
//
// The kernel takes the thread that started it for its parent, and Go ends threads whose goroutine was locked
// to them, so a child would be ended in the middle of a test. The thread that starts it stays with it here.
func StartChild(cmd *exec.Cmd, signal syscall.Signal) error {
	if cmd.SysProcAttr == nil {
		cmd.SysProcAttr = &syscall.SysProcAttr{}
	}
	cmd.SysProcAttr.Pdeathsig = signal
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		for err == nil { // until it ended; who started it still waits for it itself
			if err = unix.Waitid(unix.P_PID, cmd.Process.Pid, nil,
				unix.WEXITED|unix.WNOWAIT, nil); err == nil {
				return
			}
			if err == unix.EINTR {
				err = nil
			}
		}
	}()
	return <-started
}
