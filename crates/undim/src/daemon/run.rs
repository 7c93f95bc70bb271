//! The loop around the machine: signals, timers, hints and results come in as events, actions go out as
//! blocking jobs, each of which comes back as one event.

use super::machine::{Action, Event, Machine, Mode};
use super::systemd::Manager;
use crate::engine::{Cancel, Engine};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::{Notify, mpsc};
use undim_intake::watcher::{Hints, Watcher};

/// Stuck jobs are not waited for longer than this when the program ends.
const SHUTDOWN: Duration = Duration::from_millis(200);

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ended {
    /// Everything was done, or a stop was asked for and work had ended.
    Cleanly,
    /// A stop was asked for and work had to be left; the next start does it again.
    WorkLeft,
    /// The program itself is at fault.
    Fault,
}

/// Runs the engine until the machine says it is finished.
pub(crate) fn run(mode: Mode, engine: &Arc<Mutex<Engine>>) -> std::io::Result<Ended> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .max_blocking_threads(4)
        .build()?;
    let ended = runtime.block_on(work(mode, engine));
    // Dropping the runtime would wait for a job that hangs.
    runtime.shutdown_timeout(SHUTDOWN);
    ended
}

/// The engine, whoever used it last: a job that panicked left the ledger as it was, and the archive is the truth.
pub(crate) fn lock(engine: &Mutex<Engine>) -> MutexGuard<'_, Engine> {
    engine.lock().unwrap_or_else(PoisonError::into_inner)
}

struct Loop {
    engine: Arc<Mutex<Engine>>,
    events: mpsc::UnboundedSender<Event>,
    started: Instant,
    cancel: Cancel,
    manager: Option<Manager>,
    hint: Arc<Notify>,
    watcher: Option<Arc<Mutex<Watcher>>>,
    rearm: bool,
    fault: Arc<AtomicBool>,
}

async fn work(mode: Mode, engine: &Arc<Mutex<Engine>>) -> std::io::Result<Ended> {
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hangup = signal(SignalKind::hangup())?;
    let (events, mut results) = mpsc::unbounded_channel();
    let hint = Arc::new(Notify::new());
    let (pace, cancel) = {
        let engine = lock(engine);
        (engine.pace(), engine.cancel())
    };
    let mut this = Loop {
        engine: Arc::clone(engine),
        events,
        started: Instant::now(),
        cancel,
        manager: if mode == Mode::Watch {
            Manager::from_environment()
        } else {
            None
        },
        hint: Arc::clone(&hint),
        watcher: None,
        rearm: false,
        fault: Arc::default(),
    };
    let (mut machine, actions) = Machine::start(mode, pace, Duration::ZERO);
    this.act(&actions);
    loop {
        if machine.finished() {
            break;
        }
        let wake = machine
            .wake_at()
            .map(|at| tokio::time::Instant::from_std(this.started + at));
        let watchdog = this.manager.as_ref().and_then(|manager| manager.watchdog);
        let event = tokio::select! {
            biased;
            () = any(&mut interrupt, &mut terminate) => Event::Stop,
            _ = hangup.recv() => Event::Reload,
            Some(event) = results.recv() => event,
            () = hint.notified() => Event::Hint,
            () = sleep_until(wake) => Event::Tick,
            () = sleep_for(watchdog) => Event::Tick,
        };
        if let Some(manager) = &this.manager
            && manager.watchdog.is_some()
        {
            manager.tell("WATCHDOG=1");
        }
        if event == Event::Stop {
            tracing::info!("stopping");
            if let Some(manager) = &this.manager {
                manager.tell("STOPPING=1");
            }
        }
        let actions = machine.handle(this.started.elapsed(), event);
        this.act(&actions);
        if this.fault.load(Ordering::Relaxed) {
            return Ok(Ended::Fault);
        }
    }
    let left = machine.stopping() && this.engine.try_lock().is_err();
    Ok(if left { Ended::WorkLeft } else { Ended::Cleanly })
}

impl Loop {
    fn act(&mut self, actions: &[Action]) {
        for action in actions {
            match action {
                // The watcher is armed by the same job that looks, before it looks.
                Action::Rearm => self.rearm = true,
                Action::Look => {
                    let rearm = std::mem::take(&mut self.rearm);
                    let watcher = rearm.then(|| self.watcher());
                    self.job(move |engine| {
                        if let Some(watcher) = watcher {
                            let inbox = lock(engine).inbox().to_owned();
                            watcher.lock().unwrap_or_else(PoisonError::into_inner).arm(&inbox);
                        }
                        Event::Looked(lock(engine).look())
                    });
                }
                Action::TakeIn => self.job(|engine| Event::TookIn {
                    left: lock(engine).take_in_round(),
                }),
                Action::Deliver => self.job(|engine| Event::Delivered {
                    next_in: crate::engine::deliver(engine),
                }),
                Action::Reload => {
                    if let Some(manager) = &self.manager {
                        manager.tell("RELOADING=1");
                    }
                    self.job(|engine| Event::Reloaded {
                        pace: lock(engine).reload(),
                    });
                }
                Action::Ready => {
                    tracing::info!("ready");
                    if let Some(manager) = &self.manager {
                        manager.tell("READY=1\nSTATUS=Watching the inbox.");
                    }
                }
                Action::Cancel => self.cancel.ask(),
            }
        }
    }

    fn watcher(&mut self) -> Arc<Mutex<Watcher>> {
        let hint = Arc::clone(&self.hint);
        Arc::clone(
            self.watcher
                .get_or_insert_with(|| Arc::new(Mutex::new(Watcher::new(move || hint.notify_one())))),
        )
    }

    /// Runs something that may take long, off the loop; it comes back as one event.
    fn job(&self, work: impl FnOnce(&Mutex<Engine>) -> Event + Send + 'static) {
        let engine = Arc::clone(&self.engine);
        let events = self.events.clone();
        let fault = Arc::clone(&self.fault);
        tokio::task::spawn_blocking(move || {
            let event = catch_unwind(AssertUnwindSafe(|| work(&engine))).unwrap_or_else(|_| {
                // The panic told its place on standard error; what it left half done is done again at the next start.
                fault.store(true, Ordering::Relaxed);
                Event::Stop
            });
            // The loop has ended when nobody listens any more.
            let _ = events.send(event);
        });
    }
}

async fn any(one: &mut Signal, other: &mut Signal) {
    tokio::select! {
        _ = one.recv() => {}
        _ = other.recv() => {}
    }
}

async fn sleep_until(at: Option<tokio::time::Instant>) {
    match at {
        Some(at) => tokio::time::sleep_until(at).await,
        None => std::future::pending().await,
    }
}

async fn sleep_for(time: Option<Duration>) {
    match time {
        Some(time) => tokio::time::sleep(time).await,
        None => std::future::pending().await,
    }
}
