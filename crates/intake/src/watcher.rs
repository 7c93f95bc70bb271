//! The watcher: it says "look again", and nothing else.
//!
//! Every watcher loses events in some way, and reports old paths after a folder was renamed; so no event is
//! ever acted upon. It only shortens the wait for the next listing.

use notify::event::{AccessKind, AccessMode};
use notify::{Config, ErrorKind, Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher as _};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What a source of hints can do. Hints come through the callback that it was made with.
pub trait Hints {
    /// Watches a folder and those in it from now on, in place of any other. List *after* arming, so that
    /// nothing falls between; arm again when the folder's identity changes.
    fn arm(&mut self, folder: &Path) -> Armed;

    /// Watches nothing.
    fn disarm(&mut self);

    /// How it stands.
    fn armed(&self) -> Armed;
}

/// Whether events come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Armed {
    /// Events come, for as long as they do.
    Watching,
    /// None come: only the regular listing finds files.
    ListingOnly,
}

/// Hints from the operating system.
pub struct Watcher {
    on_hint: Arc<dyn Fn() + Send + Sync>,
    watcher: Option<RecommendedWatcher>,
    said: Arc<AtomicBool>,
}

impl std::fmt::Debug for Watcher {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Watcher")
            .field("armed", &self.armed())
            .finish_non_exhaustive()
    }
}

impl Watcher {
    /// `on_hint` is called from another thread, once for each event: it must be quick and make one wake-up
    /// of many calls.
    pub fn new(on_hint: impl Fn() + Send + Sync + 'static) -> Self {
        Self {
            on_hint: Arc::new(on_hint),
            watcher: None,
            said: Arc::new(AtomicBool::new(false)),
        }
    }
}

impl Hints for Watcher {
    fn arm(&mut self, folder: &Path) -> Armed {
        self.disarm();
        let (on_hint, said) = (Arc::clone(&self.on_hint), Arc::clone(&self.said));
        let on_event = move |event: notify::Result<Event>| match event {
            Ok(event) => {
                if is_hint(&event) {
                    on_hint();
                }
            }
            Err(error) => {
                say_once(&said, &error);
                on_hint();
            }
        };
        let armed = RecommendedWatcher::new(on_event, Config::default().with_follow_symlinks(false))
            .and_then(|mut watcher| {
                watcher.watch(folder, RecursiveMode::Recursive)?;
                Ok(watcher)
            });
        match armed {
            Ok(watcher) => self.watcher = Some(watcher),
            Err(error) => say_once(&self.said, &error),
        }
        self.armed()
    }

    fn disarm(&mut self) {
        self.watcher = None;
    }

    fn armed(&self) -> Armed {
        if self.watcher.is_some() {
            Armed::Watching
        } else {
            Armed::ListingOnly
        }
    }
}

/// Reading counts as an event too, and our own reading must not wake us: of the accesses only the end of a
/// writing one is a hint. A rescan flag comes without any path, so it is asked for first.
fn is_hint(event: &Event) -> bool {
    event.need_rescan()
        || match event.kind {
            EventKind::Access(AccessKind::Close(AccessMode::Write)) => true,
            EventKind::Access(_) => false,
            _ => true,
        }
}

fn say_once(said: &AtomicBool, error: &notify::Error) {
    if matches!(error.kind, ErrorKind::PathNotFound) || said.swap(true, Ordering::Relaxed) {
        return;
    }
    let advice = match error.kind {
        ErrorKind::MaxFilesWatch => "; raise fs.inotify.max_user_watches to hear of new files at once",
        _ => "",
    };
    tracing::warn!(
        "the inbox can't be watched ({error}): new files are found by the regular listing alone{advice}"
    );
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "tests lay out real files")]

    use super::*;
    use notify::event::{CreateKind, Flag};
    use std::fs;
    use std::sync::mpsc::{Receiver, channel};
    use std::time::Duration;

    const SOON: Duration = Duration::from_secs(5);
    const QUIET: Duration = Duration::from_millis(60);

    fn watched(folder: &Path) -> (Watcher, Receiver<()>) {
        let (send, receive) = channel();
        let mut watcher = Watcher::new(move || {
            let _ = send.send(());
        });
        assert_eq!(watcher.arm(folder), Armed::Watching);
        (watcher, receive)
    }

    fn until_quiet(hints: &Receiver<()>) {
        while hints.recv_timeout(QUIET).is_ok() {}
    }

    #[test]
    fn only_what_may_bring_a_file_is_a_hint() {
        let hint = |kind| is_hint(&Event::new(kind));
        assert!(hint(EventKind::Create(CreateKind::File)));
        assert!(hint(EventKind::Access(AccessKind::Close(AccessMode::Write))));
        assert!(!hint(EventKind::Access(AccessKind::Open(AccessMode::Read))));
        assert!(!hint(EventKind::Access(AccessKind::Close(AccessMode::Read))));
        assert!(is_hint(&Event::new(EventKind::Other).set_flag(Flag::Rescan)));
        assert!(is_hint(
            &Event::new(EventKind::Access(AccessKind::Any)).set_flag(Flag::Rescan)
        ));
    }

    #[test]
    fn writing_hints_reading_does_not_and_nested_folders_count() {
        let inbox = tempfile::tempdir().expect("a folder");
        let (mut watcher, hints) = watched(inbox.path());
        fs::write(inbox.path().join("a.csv"), "x").expect("a file");
        hints.recv_timeout(SOON).expect("a hint");
        until_quiet(&hints);
        assert_eq!(fs::read(inbox.path().join("a.csv")).expect("read"), b"x");
        let _ = crate::listing::list(inbox.path());
        assert!(hints.recv_timeout(QUIET).is_err(), "reading must not hint");
        fs::create_dir(inbox.path().join("later")).expect("a folder");
        hints.recv_timeout(SOON).expect("a hint");
        until_quiet(&hints);
        fs::write(inbox.path().join("later/b.csv"), "x").expect("a file");
        hints.recv_timeout(SOON).expect("a hint");
        watcher.disarm();
        assert_eq!(watcher.armed(), Armed::ListingOnly);
        until_quiet(&hints);
        fs::write(inbox.path().join("c.csv"), "x").expect("a file");
        assert!(hints.recv_timeout(QUIET).is_err(), "disarmed");
    }

    #[test]
    fn a_folder_made_again_is_watched_after_arming_again() {
        let place = tempfile::tempdir().expect("a folder");
        let inbox = place.path().join("inbox");
        fs::create_dir(&inbox).expect("a folder");
        let (mut watcher, hints) = watched(&inbox);
        fs::remove_dir(&inbox).expect("removed");
        hints.recv_timeout(SOON).expect("a hint that it is gone");
        assert_eq!(watcher.arm(&inbox), Armed::ListingOnly);
        fs::create_dir(&inbox).expect("a folder");
        assert_eq!(watcher.arm(&inbox), Armed::Watching);
        until_quiet(&hints);
        fs::write(inbox.join("a.csv"), "x").expect("a file");
        hints.recv_timeout(SOON).expect("a hint");
    }
}
