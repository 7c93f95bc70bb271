//! What the library exports, and what undim lends to its `read`.

use crate::{UndimMessage, UndimOption, UndimRow, UndimText};
use core::ffi::c_void;

/// The bytes `UNDIMIMP`, read as a big-endian number.
pub const MAGIC: u64 = u64::from_be_bytes(*b"UNDIMIMP");
/// The major version of this contract; another one is refused.
pub const ABI_MAJOR: u32 = 1;
/// The minor version of this contract; any is welcome.
pub const ABI_MINOR: u32 = 0;
/// The name of the one exported constant.
pub const SYMBOL: &str = "undim_importer_v1";

/// `read` has pushed every row.
pub const STATUS_DONE: i32 = 0;
/// `read` has given up, and said why.
pub const STATUS_FAILED: i32 = 1;

/// Puts up to `cap` of the file's next bytes into `buf`; how many, 0 at the end, below 0 on an error.
pub type UndimPull = unsafe extern "C" fn(ctx: *mut c_void, buf: *mut u8, cap: usize) -> isize;
/// Takes `count` rows, `stride` bytes apart; nonzero: return from `read` now.
pub type UndimPush =
    unsafe extern "C" fn(ctx: *mut c_void, rows: *const UndimRow, count: usize, stride: usize) -> i32;
/// Takes one message; nonzero: return from `read` now.
pub type UndimSay = unsafe extern "C" fn(ctx: *mut c_void, message: *const UndimMessage) -> i32;
/// How surely the importer can read a file: 0 to 100.
pub type UndimProbe = unsafe extern "C" fn(
    start: *const u8,
    start_len: usize,
    file_name: *const u8,
    file_name_len: usize,
) -> i32;
/// Reads the file.
pub type UndimRead = unsafe extern "C" fn(host: *const UndimHost) -> i32;

/// What undim lends to `read`.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct UndimHost {
    /// Bytes of this struct.
    pub size: u32,
    /// Zero.
    pub flags: u32,
    /// Handed back in each call.
    pub ctx: *mut c_void,
    /// The file's name without its folder; bytes that are no UTF-8 are replaced.
    pub file_name: UndimText,
    /// The options, in the layout's order.
    pub options: *const UndimOption,
    /// How many.
    pub option_count: usize,
    /// How many bytes apart they stand.
    pub option_stride: usize,
    /// Gives the file's bytes.
    pub pull: Option<UndimPull>,
    /// Takes rows.
    pub push: Option<UndimPush>,
    /// Takes messages.
    pub say: Option<UndimSay>,
}

/// What the library exports under the name [`SYMBOL`].
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct UndimImporter {
    /// [`MAGIC`].
    pub magic: u64,
    /// [`ABI_MAJOR`].
    pub abi_major: u32,
    /// [`ABI_MINOR`].
    pub abi_minor: u32,
    /// Bytes of this struct.
    pub size: u32,
    /// Zero.
    pub flags: u32,
    /// Lower-case letters, digits and `-`, 1 to 64.
    pub name: UndimText,
    /// Of the importer, 1 to 64 bytes.
    pub version: UndimText,
    /// What it reads, for people, up to 256 bytes.
    pub reads: UndimText,
    /// How surely it can read a file.
    pub probe: Option<UndimProbe>,
    /// Reads a file.
    pub read: Option<UndimRead>,
}

#[expect(
    unsafe_code,
    reason = "raw pointers make it neither Send nor Sync by themselves"
)]
// SAFETY: the descriptor is a constant whose pointers lead to constants and functions of its own library,
// which nobody changes and nobody unloads.
unsafe impl Sync for UndimImporter {}

impl UndimImporter {
    /// A descriptor for this version of the contract.
    pub const fn new(
        name: &'static str,
        version: &'static str,
        reads: &'static str,
        probe: UndimProbe,
        read: UndimRead,
    ) -> Self {
        Self {
            magic: MAGIC,
            abi_major: ABI_MAJOR,
            abi_minor: ABI_MINOR,
            size: size_of::<Self>() as u32,
            flags: 0,
            name: UndimText::of(name),
            version: UndimText::of(version),
            reads: UndimText::of(reads),
            probe: Some(probe),
            read: Some(read),
        }
    }
}
