//! What a row of the ledger holds.

use undim_model::{AlertChange, Survey};

macro_rules! stored_words {
    ($(#[doc = $about:literal])+ $noun:ident { $($(#[doc = $doc:literal])+ $variant:ident = $word:literal,)+ }) => {
        $(#[doc = $about])+
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $noun { $($(#[doc = $doc])+ $variant,)+ }

        impl $noun {
            /// The word that is stored and shown.
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            /// The value of this word.
            pub fn from_word(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }
    };
}

stored_words! {
    /// What became of a content.
    ContentState {
        /// In the raw archive; not judged yet.
        Archived = "archived",
        /// Its readings count.
        Taken = "taken",
        /// It can't be used; `why` says so.
        SetAside = "set-aside",
        /// A longer file that begins with it has replaced it.
        Superseded = "superseded",
        /// The keeper took it out of every judgement.
        Withdrawn = "withdrawn",
    }
}

stored_words! {
    /// What became of a note.
    NoteState {
        /// Its file has not come yet.
        Waiting = "waiting",
        /// It speaks for its content.
        Attached = "attached",
        /// A later note speaks instead.
        Replaced = "replaced",
    }
}

stored_words! {
    /// What became of a notice to one receiver.
    DeliveryState {
        /// To be tried at its time.
        Waiting = "waiting",
        /// Gone out.
        Sent = "sent",
        /// Tried too often.
        GivenUp = "given-up",
    }
}

stored_words! {
    /// What the keeper decided about a content.
    Decision {
        /// Out of every judgement.
        Withdrawn = "withdrawn",
        /// It counts again.
        Reinstated = "reinstated",
    }
}

/// A content taken out of every judgement, or back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Withdrawal {
    /// Its place in the order of all that came in.
    pub arrival: u64,
    /// The content's hash.
    pub content: String,
    /// Which of the two.
    pub what: Decision,
    /// The keeper's words; empty where none were given.
    pub why: String,
    /// When, µs since 1970.
    pub when_us: i64,
    /// Hash of the content that this one had replaced, which counts again (or is replaced again) with it.
    pub other: Option<String>,
}

/// A content that came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Content {
    /// BLAKE3 of its bytes, lower-case hexadecimal.
    pub hash: String,
    /// Its place in the order of all that came in.
    pub arrival: u64,
    /// Its first inbox path.
    pub path: Vec<u8>,
    /// The same as it is shown.
    pub shown: String,
    /// Bytes.
    pub bytes: u64,
    /// Modification time, µs since 1970.
    pub mtime_us: i64,
    /// What became of it.
    pub state: ContentState,
    /// The content that replaced it.
    pub superseded_by: Option<String>,
    /// Why it was set aside or withdrawn.
    pub why: Option<String>,
    /// The importer that read it.
    pub importer: Option<String>,
    /// That importer's version.
    pub importer_version: Option<String>,
    /// Fingerprint of all that its import depended on.
    pub options_fingerprint: Option<String>,
    /// Rows read from it.
    pub rows: Option<u64>,
    /// Where its file was put, relative to the inbox.
    pub put_away_path: Option<Vec<u8>>,
}

/// A note that came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// Its place in the order of all that came in; its key.
    pub arrival: u64,
    /// The inbox path of the file it is for.
    pub path: Vec<u8>,
    /// The content it belongs to.
    pub content: Option<String>,
    /// What it says, as it stands.
    pub text: String,
    /// What became of it.
    pub state: NoteState,
}

/// Something derived that has no table of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Derived {
    /// What it is.
    pub kind: String,
    /// The tank's id.
    pub tank: String,
    /// Unique within kind and tank.
    pub id: String,
    /// Fingerprint of all it was derived from.
    pub fingerprint: String,
    /// The thing itself.
    pub body: String,
}

/// A survey and the fingerprint of all it was derived from.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredSurvey {
    /// The survey.
    pub survey: Survey,
    /// Of all it was derived from.
    pub fingerprint: String,
}

/// What can be told of a survey without reading it whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SurveyHead {
    /// The tank's id.
    pub tank: String,
    /// The survey's id.
    pub id: String,
    /// First reading, µs since 1970.
    pub start_us: i64,
    /// Last reading, µs since 1970.
    pub end_us: i64,
    /// Its revision.
    pub revision: u32,
    /// Of all it was derived from.
    pub fingerprint: String,
}

/// A change of an alert under the id that keeps its notices from going out twice.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredChange {
    /// Unique over all tanks, and the same however often the past is derived.
    pub change_id: String,
    /// The change.
    pub change: AlertChange,
}

/// A notice to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewDelivery {
    /// The change it tells of.
    pub change_id: String,
    /// Who gets it.
    pub sink: String,
    /// What is sent.
    pub notice: String,
    /// When it was made, µs since 1970.
    pub created_us: i64,
    /// Not before this, µs since 1970.
    pub next_try_us: i64,
}

/// A notice on its way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// The receiver may throw away a notice whose id it has seen.
    pub id: i64,
    /// The change it tells of.
    pub change_id: String,
    /// Who gets it.
    pub sink: String,
    /// What is sent.
    pub notice: String,
    /// How it stands.
    pub state: DeliveryState,
    /// Tries so far.
    pub attempts: u32,
    /// Not before this, µs since 1970.
    pub next_try_us: i64,
    /// What the last try said.
    pub last_error: Option<String>,
    /// When it was made, µs since 1970.
    pub created_us: i64,
    /// When it went out, µs since 1970.
    pub sent_us: Option<i64>,
}

/// How much the ledger holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Contents archived and not judged yet.
    pub archived: u64,
    /// Contents whose readings count.
    pub taken: u64,
    /// Contents set aside.
    pub set_aside: u64,
    /// Contents replaced by longer ones.
    pub superseded: u64,
    /// Contents withdrawn.
    pub withdrawn: u64,
    /// Notes whose file has not come yet.
    pub notes_waiting: u64,
    /// Surveys.
    pub surveys: u64,
    /// Notices to be sent.
    pub deliveries_waiting: u64,
    /// Notices tried too often.
    pub deliveries_given_up: u64,
}
