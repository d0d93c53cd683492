//! The system's signals to end: Ctrl-C, and on Windows that the window is closed, the user logs off or the machine is
//! shut down.
//!
//! On Windows a process is ended as soon as its handler for the last three returns, which takes the sounding notes'
//! ends with it. The handler behind this never returns for them, so the process ends by itself, when everything is told;
//! the system waits some seconds for that.

#[cfg(unix)]
use std::io;

/// Calls `stop` at every signal to end, from a thread of its own.
///
/// # Errors
/// The system gives no signals or no thread.
#[cfg(unix)]
pub(super) fn listen(stop: impl FnMut() + Send + 'static) -> io::Result<()> {
    ctrlc::set_handler(stop).map_err(io::Error::other)
}

#[cfg(windows)]
pub(super) use windows::listen;

#[cfg(windows)]
mod windows {
    use std::io;
    use std::thread;

    use tokio::runtime::Builder;
    use tokio::signal::windows::{
        CtrlBreak, CtrlC, CtrlClose, CtrlLogoff, CtrlShutdown, ctrl_break, ctrl_c, ctrl_close, ctrl_logoff,
        ctrl_shutdown,
    };

    /// Calls `stop` at every signal to end, from a thread of its own.
    ///
    /// # Errors
    /// The system gives no signals or no thread.
    pub fn listen(mut stop: impl FnMut() + Send + 'static) -> io::Result<()> {
        let runtime = Builder::new_current_thread().enable_io().build()?;
        let mut signals = {
            let _inside = runtime.enter();
            Signals::new()?
        };
        let attend = move || {
            runtime.block_on(async move {
                loop {
                    signals.next().await;
                    stop();
                }
            });
        };
        thread::Builder::new().name("signals".to_owned()).spawn(attend)?;
        Ok(())
    }

    struct Signals {
        c: CtrlC,
        pause: CtrlBreak,
        close: CtrlClose,
        logoff: CtrlLogoff,
        shutdown: CtrlShutdown,
    }

    impl Signals {
        fn new() -> io::Result<Signals> {
            Ok(Signals {
                c: ctrl_c()?,
                pause: ctrl_break()?,
                close: ctrl_close()?,
                logoff: ctrl_logoff()?,
                shutdown: ctrl_shutdown()?,
            })
        }

        async fn next(&mut self) {
            tokio::select! {
                _ = self.c.recv() => (),
                _ = self.pause.recv() => (),
                _ = self.close.recv() => (),
                _ = self.logoff.recv() => (),
                _ = self.shutdown.recv() => (),
            }
        }
    }
}
