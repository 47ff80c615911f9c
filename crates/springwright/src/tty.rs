//! Serial lines and pseudo-terminals, read and written without blocking.

use std::io;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, fcntl_setfl, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{
    ControlModes, InputModes, OptionalActions, QueueSelector, isatty, tcflush, tcgetattr, tcsetattr,
};
use tokio::io::unix::AsyncFd;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// How a serial line is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SerialSettings {
    /// Bits a second.
    pub(crate) baud: u32,
    /// Bits of a character: 7 or 8.
    pub(crate) data_bits: DataBits,
    /// The bit that makes their sum even or odd.
    pub(crate) parity: Parity,
    /// Bits at the end of a character.
    pub(crate) stop_bits: StopBits,
    /// How one side asks the other to wait.
    pub(crate) flow: Flow,
}

/// Bits of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum DataBits {
    /// 7
    #[value(name = "7")]
    Seven,
    /// 8
    #[value(name = "8")]
    Eight,
}

/// The bit that makes the sum of a character's bits even or odd.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Parity {
    /// There is none
    None,
    /// Even
    Even,
    /// Odd
    Odd,
}

/// Bits at the end of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum StopBits {
    /// 1
    #[value(name = "1")]
    One,
    /// 2
    #[value(name = "2")]
    Two,
}

/// How one side asks the other to wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Flow {
    /// It does not
    None,
    /// By the lines RTS and CTS
    Hardware,
    /// By the characters XON and XOFF
    Software,
}

/// An open line.
#[derive(Debug)]
pub(crate) struct Tty {
    fd: AsyncFd<OwnedFd>,
}

impl Tty {
    #[allow(
        deprecated,
        reason = "what replaces it cannot be called without unsafe code; an owned descriptor is open and nobody else's"
    )]
    fn of(fd: OwnedFd) -> io::Result<Self> {
        fcntl_setfl(&fd, OFlags::NONBLOCK)?;
        Ok(Self { fd: AsyncFd::new(fd)? })
    }

    /// Opens a serial device and sets it. What it holds from before is thrown away.
    ///
    /// # Errors
    /// What the system says; a file that is no serial line is none.
    pub(crate) fn open(device: &Path, settings: SerialSettings) -> io::Result<Self> {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let fd = open(device, flags, Mode::empty())?;
        if !isatty(&fd) {
            return Err(io::Error::other("it is no serial line"));
        }
        set(&fd, settings)?;
        tcflush(&fd, QueueSelector::IFlush)?;
        Self::of(fd)
    }
}

fn set(fd: &OwnedFd, settings: SerialSettings) -> io::Result<()> {
    let mut line = tcgetattr(fd)?;
    line.make_raw();
    line.set_speed(settings.baud)?;
    let modes = &mut line.control_modes;
    // No modem decides whether the instrument may be heard.
    modes.insert(ControlModes::CLOCAL | ControlModes::CREAD);
    modes.remove(ControlModes::CSIZE | ControlModes::PARENB | ControlModes::PARODD | ControlModes::CSTOPB);
    modes.remove(ControlModes::CRTSCTS);
    modes.insert(match settings.data_bits {
        DataBits::Seven => ControlModes::CS7,
        DataBits::Eight => ControlModes::CS8,
    });
    modes.insert(match settings.parity {
        Parity::None => ControlModes::empty(),
        Parity::Even => ControlModes::PARENB,
        Parity::Odd => ControlModes::PARENB | ControlModes::PARODD,
    });
    if settings.stop_bits == StopBits::Two {
        modes.insert(ControlModes::CSTOPB);
    }
    match settings.flow {
        Flow::None => {}
        Flow::Hardware => modes.insert(ControlModes::CRTSCTS),
        Flow::Software => line.input_modes.insert(InputModes::IXON | InputModes::IXOFF),
    }
    if settings.parity != Parity::None {
        // A character whose parity is wrong comes as a zero byte: no digit, so the line is damage and not a reading.
        line.input_modes.insert(InputModes::INPCK);
    }
    tcsetattr(fd, OptionalActions::Now, &line)?;
    Ok(())
}

/// The end of a line that went away in its midst: nobody is at the other side any more.
fn gone() -> io::Error {
    io::Error::new(io::ErrorKind::UnexpectedEof, "nobody is at the other end of the line")
}

impl AsyncRead for Tty {
    fn poll_read(self: Pin<&mut Self>, context: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        loop {
            let mut guard = ready!(self.fd.poll_read_ready(context))?;
            // Asked before: what would block clears what was ready.
            let closed = guard.ready().is_read_closed();
            let read = guard.try_io(|fd| Ok(rustix::io::read(fd.get_ref(), into.initialize_unfilled())?));
            match read {
                Ok(Ok(0)) => return Poll::Ready(Err(gone())),
                Ok(Ok(count)) => {
                    into.advance(count);
                    return Poll::Ready(Ok(()));
                }
                Ok(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {}
                Ok(Err(error)) => return Poll::Ready(Err(error)),
                // Once the other side was gone the line stays "ready" for ever; whoever is there now needs a new one.
                Err(_) if closed => return Poll::Ready(Err(gone())),
                Err(_) => {}
            }
        }
    }
}

impl AsyncWrite for Tty {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        loop {
            let mut guard = ready!(self.fd.poll_write_ready(context))?;
            let closed = guard.ready().is_write_closed();
            let written = guard.try_io(|fd| Ok(rustix::io::write(fd.get_ref(), bytes)?));
            match written {
                Ok(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {}
                Ok(written) => return Poll::Ready(written),
                Err(_) if closed => return Poll::Ready(Err(gone())),
                Err(_) => {}
            }
        }
    }

    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}

/// A pseudo-terminal: this side stands for the instrument, the device for its serial line.
#[derive(Debug)]
pub(crate) struct Pty {
    master: OwnedFd,
    device: PathBuf,
}

impl Pty {
    /// Makes one.
    ///
    /// # Errors
    /// What the system says.
    pub(crate) fn new() -> io::Result<Self> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let name = ptsname(&master, Vec::new())?;
        let device = PathBuf::from(name.to_string_lossy().into_owned());
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        // Opened and closed once: from now on it shows whether anybody has the device open. Raw, so that nothing is echoed.
        let slave = open(&device, flags, Mode::empty())?;
        let mut line = tcgetattr(&slave)?;
        line.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &line)?;
        Ok(Self { master, device })
    }

    /// The device to open.
    pub(crate) fn device(&self) -> &Path {
        &self.device
    }

    /// Whether anybody has the device open.
    ///
    /// # Errors
    /// What the system says.
    pub(crate) fn is_open(&self) -> io::Result<bool> {
        let mut seen = [PollFd::new(&self.master, PollFlags::OUT)];
        let at_once = Timespec { tv_sec: 0, tv_nsec: 0 };
        poll(&mut seen, Some(&at_once))?;
        Ok(!seen.iter().any(|seen| seen.revents().contains(PollFlags::HUP)))
    }

    /// The line to whoever has it open; what they said before is thrown away.
    ///
    /// # Errors
    /// What the system says.
    pub(crate) fn line(&self) -> io::Result<Tty> {
        Tty::of(rustix::io::dup(&self.master)?)
    }

    /// Throws away what nobody read.
    pub(crate) fn forget(&self) {
        let _ = tcflush(&self.master, QueueSelector::IOFlush);
    }
}
