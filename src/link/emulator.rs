//! Starts and ends an emulator.

use crate::error::LinkError;
use crate::image::{Machine, machine_of};
use crate::line::Line;
use std::path::Path;
use std::sync::atomic::AtomicBool;

/// Ends every emulator that still runs and takes its folder away: for a process that is about to
/// end without dropping anything.
pub fn end_all() {
    #[cfg(unix)]
    imp::end_all();
}

/// Starts the emulator for an image and connects to its serial port.
///
/// # Errors
/// The image or the emulator is missing or of no use, it does not start in time, or `stop` is set
/// before it has.
pub(crate) fn start(
    image: &Path,
    stop: Option<&'static AtomicBool>,
) -> Result<Box<dyn Line>, LinkError> {
    let machine = machine_of(image)?;
    #[cfg(unix)]
    return imp::start(machine, image, stop);
    #[cfg(not(unix))]
    let _ = stop;
    #[cfg(not(unix))]
    Err(LinkError::Emulator {
        program: program_of(machine).0,
        why: "emulated boards need Unix sockets, which this system lacks; use a serial port"
            .to_owned(),
    })
}

/// The program that emulates a machine, and the package of Debian and Ubuntu that brings it.
fn program_of(machine: Machine) -> (&'static str, &'static str) {
    match machine {
        Machine::CortexM => ("qemu-system-arm", "qemu-system-arm"),
        Machine::Avr => ("qemu-system-avr", "qemu-system-misc"),
    }
}

#[cfg(unix)]
mod imp {
    use super::program_of;
    use crate::error::LinkError;
    use crate::image::Machine;
    use crate::line::Line;
    use crate::unix::UnixLine;
    use std::fs::File;
    use std::io::{self, ErrorKind, Read};
    use std::os::unix::net::{UnixListener, UnixStream};
    use std::os::unix::process::CommandExt;
    use std::path::Path;
    use std::process::{Child, Command, Stdio};
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
    use std::time::{Duration, Instant};
    use tempfile::TempDir;
    use trimproof_diagnostics::prose;

    /// Time for the emulator to connect to us.
    const START_WITHIN: Duration = Duration::from_secs(10);

    /// Most of an emulator's words that are read, bytes.
    const SAID_MAX: u64 = 4096;

    /// A running emulator and the folder of its socket; both go when it is dropped.
    struct RunningEmulator {
        child: Child,
        folder: Option<TempDir>,
    }

    impl RunningEmulator {
        fn end(&mut self) {
            // It may have ended by itself.
            let _ = self.child.kill();
            let _ = self.child.wait();
            // Removing the folder is all that is left to do; nobody could act on a failure.
            drop(self.folder.take());
        }
    }

    /// Those that run now. A second Ctrl-C ends the process without dropping anything.
    static RUNNING: Mutex<Vec<Arc<Mutex<RunningEmulator>>>> = Mutex::new(Vec::new());

    fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
        mutex.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn end_all() {
        for running in locked(&RUNNING).drain(..) {
            locked(&running).end();
        }
    }

    struct Emulator(Arc<Mutex<RunningEmulator>>);

    impl Drop for Emulator {
        fn drop(&mut self) {
            locked(&RUNNING).retain(|other| !Arc::ptr_eq(other, &self.0));
            locked(&self.0).end();
        }
    }

    pub(super) fn start(
        machine: Machine,
        image: &Path,
        stop: Option<&'static AtomicBool>,
    ) -> Result<Box<dyn Line>, LinkError> {
        let (program, package) = program_of(machine);
        let fail = |why: String| LinkError::Emulator { program, why };
        let io_fail = |what: &str, error: io::Error| fail(format!("{what}: {error}"));
        // Private: tempfile makes it readable for its owner only.
        let folder = tempfile::Builder::new()
            .prefix("trimproof-")
            .tempdir()
            .map_err(|error| io_fail("cannot make a folder for its socket", error))?;
        let socket = folder.path().join("serial");
        let words = folder.path().join("words");
        let listener = UnixListener::bind(&socket)
            .and_then(|listener| listener.set_nonblocking(true).map(|()| listener))
            .map_err(|error| io_fail("cannot make its socket", error))?;
        let stderr =
            File::create(&words).map_err(|error| io_fail("cannot keep its words", error))?;
        let mut command = Command::new(program);
        match machine {
            Machine::CortexM => command.args(["-M", "lm3s6965evb", "-kernel"]).arg(image),
            Machine::Avr => command.args(["-M", "mega2560", "-bios"]).arg(image),
        };
        let mut chardev = std::ffi::OsString::from("socket,id=board,server=off,path=");
        chardev.push(&socket);
        command
            .args(["-display", "none", "-monitor", "none", "-chardev"])
            .arg(chardev)
            .args(["-serial", "chardev:board"])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(stderr)
            // A group of its own: Ctrl-C on a terminal is ours to handle, not the emulator's.
            .process_group(0);
        let child = command.spawn().map_err(|error| match error.kind() {
            ErrorKind::NotFound => LinkError::NoEmulator { program, package },
            _ => fail(error.to_string()),
        })?;
        let emulator = Emulator(Arc::new(Mutex::new(RunningEmulator {
            child,
            folder: Some(folder),
        })));
        locked(&RUNNING).push(Arc::clone(&emulator.0));
        let stream = accept(&listener, &emulator, stop).map_err(|why| {
            let Some(why) = why else {
                return LinkError::Stopped;
            };
            match said_in(&words).as_str() {
                "" => fail(why),
                said => fail(format!("{why}; it said: {said}")),
            }
        })?;
        let description = format!("{program} with {}", image.display());
        let line = UnixLine::new(stream, description)
            .map_err(|error| io_fail("cannot use its socket", error))?;
        Ok(Box::new(EmulatorLine {
            line,
            _emulator: emulator,
        }))
    }

    /// What the emulator wrote to its standard error, the beginning of it, on one line.
    fn said_in(words: &Path) -> String {
        let mut said = Vec::new();
        let read = File::open(words).and_then(|file| file.take(SAID_MAX).read_to_end(&mut said));
        match read {
            Ok(_) => prose(&String::from_utf8_lossy(&said)),
            Err(_) => String::new(),
        }
    }

    /// The emulator's end of the socket; `Err(None)` if the user wants to stop.
    fn accept(
        listener: &UnixListener,
        emulator: &Emulator,
        stop: Option<&'static AtomicBool>,
    ) -> Result<UnixStream, Option<String>> {
        let deadline = Instant::now() + START_WITHIN;
        loop {
            match listener.accept() {
                Ok((stream, _)) => return Ok(stream),
                Err(error) if error.kind() == ErrorKind::WouldBlock => {}
                Err(error) => return Err(Some(error.to_string())),
            }
            if stop.is_some_and(|stop| stop.load(Ordering::Relaxed)) {
                return Err(None);
            }
            if let Ok(Some(status)) = locked(&emulator.0).child.try_wait() {
                return Err(Some(format!("it ended at once ({status})")));
            }
            if Instant::now() >= deadline {
                return Err(Some(format!("it did not connect within {START_WITHIN:?}")));
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// The line falls before the emulator.
    struct EmulatorLine {
        line: UnixLine,
        _emulator: Emulator,
    }

    impl Line for EmulatorLine {
        fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
            self.line.write_all(bytes)
        }

        fn read(&mut self, into: &mut [u8], wait: Duration) -> io::Result<usize> {
            self.line.read(into, wait)
        }

        fn flush(&mut self) -> io::Result<()> {
            self.line.flush()
        }

        fn description(&self) -> String {
            self.line.description()
        }
    }
}
