//! Tells the service manager how the daemon is: one datagram, as `sd_notify(3)` describes it.

use rustix::net::{AddressFamily, SendFlags, SocketAddrUnix, SocketFlags, SocketType, sendto, socket_with};
use std::os::unix::ffi::OsStrExt;
use std::time::Duration;

/// The service manager's socket, where there is one.
#[derive(Debug)]
pub(crate) struct Manager {
    socket: std::os::fd::OwnedFd,
    address: SocketAddrUnix,
    /// Half of the time after which the manager takes silence for a hang.
    pub(crate) watchdog: Option<Duration>,
}

impl Manager {
    /// From `NOTIFY_SOCKET` and `WATCHDOG_USEC`.
    pub(crate) fn from_environment() -> Option<Self> {
        let path = std::env::var_os("NOTIFY_SOCKET")?;
        let bytes = path.as_bytes();
        let address = match bytes.strip_prefix(b"@") {
            Some(name) => SocketAddrUnix::new_abstract_name(name),
            None => SocketAddrUnix::new(bytes),
        }
        .ok()?;
        let socket = socket_with(AddressFamily::UNIX, SocketType::DGRAM, SocketFlags::CLOEXEC, None).ok()?;
        let watchdog = std::env::var("WATCHDOG_USEC")
            .ok()
            .and_then(|text| text.parse().ok())
            .map(|microseconds: u64| Duration::from_micros(microseconds) / 2);
        Some(Self {
            socket,
            address,
            watchdog,
        })
    }

    /// Sends a state. A manager that does not listen is no reason to stop.
    pub(crate) fn tell(&self, state: &str) {
        if let Err(error) = sendto(&self.socket, state.as_bytes(), SendFlags::NOSIGNAL, &self.address) {
            tracing::debug!(%error, "the service manager did not take a message");
        }
    }
}
