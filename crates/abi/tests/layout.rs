//! The header and the Rust structs are one layout: the header is compiled and asked.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;
use undim_abi as abi;

/// Size and offset of every field, one a line, as the Rust side sees them; and the C program that prints the
/// same from the header.
macro_rules! layout {
    ($($noun:ident { $($field:ident),+ $(,)? })+) => {
        fn rust_side() -> String {
            let mut lines = String::new();
            $(
                writeln!(lines, "{} {}", stringify!($noun), size_of::<abi::$noun>()).unwrap();
                $(writeln!(
                    lines,
                    "{}.{} {} {}",
                    stringify!($noun),
                    stringify!($field),
                    std::mem::offset_of!(abi::$noun, $field),
                    // The closure is never called: it only tells the field's type.
                    field_size(|noun: &abi::$noun| &raw const noun.$field),
                )
                .unwrap();)+
            )+
            lines
        }

        fn c_program() -> String {
            let mut body = String::from("#include <stdio.h>\n#include \"undim_importer.h\"\nint main(void) {\n");
            $(
                writeln!(body, "  printf(\"{0} %zu\\n\", sizeof({0}));", stringify!($noun)).unwrap();
                $(writeln!(
                    body,
                    "  printf(\"{0}.{1} %zu %zu\\n\", offsetof({0}, {1}), sizeof((({0} *)0)->{1}));",
                    stringify!($noun),
                    stringify!($field),
                )
                .unwrap();)+
            )+
            body.push_str("  return 0;\n}\n");
            body
        }
    };
}

fn field_size<N, F>(_field: impl Fn(&N) -> *const F) -> usize {
    size_of::<F>()
}

layout! {
    UndimText { ptr, len }
    UndimOption { size, kind, path, text }
    UndimRow {
        size, present, row, time_us, time_kind, reserved, value, x, y, z, tilt_deg, temperature_c, unit,
        station, device, remark,
    }
    UndimMessage { size, kind, line, column, option, key, text }
    UndimHost { size, flags, ctx, file_name, options, option_count, option_stride, pull, push, say }
    UndimImporter { magic, abi_major, abi_minor, size, flags, name, version, reads, probe, read }
}

/// Compiles and runs a C program against the header; what it prints.
fn run_c(name: &str, program: &str) -> String {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let source = folder.join(format!("{name}.c"));
    let built = folder.join(name);
    std::fs::write(&source, program).unwrap();
    let compiler = Command::new("cc")
        .args(["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-I"])
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("include"))
        .arg("-o")
        .args([&built, &source])
        .output()
        .expect("a C compiler named cc is needed");
    assert!(
        compiler.status.success(),
        "{}",
        String::from_utf8_lossy(&compiler.stderr)
    );
    let run = Command::new(built).output().unwrap();
    assert!(run.status.success());
    String::from_utf8(run.stdout).unwrap()
}

#[test]
fn the_header_has_the_layout_of_the_structs() {
    assert_eq!(run_c("layout", &c_program()), rust_side());
}

#[test]
fn the_header_has_the_constants_of_the_crate() {
    let named: [(&str, u64); 32] = [
        ("UNDIM_MAGIC", abi::MAGIC),
        ("UNDIM_ABI_MAJOR", abi::ABI_MAJOR.into()),
        ("UNDIM_ABI_MINOR", abi::ABI_MINOR.into()),
        ("UNDIM_OPTION_TEXT", abi::OPTION_TEXT.into()),
        ("UNDIM_OPTION_INTEGER", abi::OPTION_INTEGER.into()),
        ("UNDIM_OPTION_FLOAT", abi::OPTION_FLOAT.into()),
        ("UNDIM_OPTION_BOOLEAN", abi::OPTION_BOOLEAN.into()),
        ("UNDIM_OPTION_DATE", abi::OPTION_DATE.into()),
        ("UNDIM_OPTION_EMPTY", abi::OPTION_EMPTY.into()),
        ("UNDIM_HAS_VALUE", abi::HAS_VALUE.into()),
        ("UNDIM_HAS_UNIT", abi::HAS_UNIT.into()),
        ("UNDIM_HAS_X", abi::HAS_X.into()),
        ("UNDIM_HAS_Y", abi::HAS_Y.into()),
        ("UNDIM_HAS_Z", abi::HAS_Z.into()),
        ("UNDIM_HAS_STATION", abi::HAS_STATION.into()),
        ("UNDIM_HAS_DEVICE", abi::HAS_DEVICE.into()),
        ("UNDIM_HAS_TILT", abi::HAS_TILT.into()),
        ("UNDIM_HAS_TEMPERATURE", abi::HAS_TEMPERATURE.into()),
        ("UNDIM_HAS_REMARK", abi::HAS_REMARK.into()),
        ("UNDIM_TIME_NONE", abi::TIME_NONE.into()),
        ("UNDIM_TIME_INSTANT", abi::TIME_INSTANT.into()),
        ("UNDIM_TIME_WALL", abi::TIME_WALL.into()),
        ("UNDIM_SAY_FOUND", abi::SAY_FOUND.into()),
        ("UNDIM_SAY_ASSUMED", abi::SAY_ASSUMED.into()),
        ("UNDIM_SAY_PROBLEM", abi::SAY_PROBLEM.into()),
        ("UNDIM_SAY_QUESTION", abi::SAY_QUESTION.into()),
        ("UNDIM_SAY_CHOICE", abi::SAY_CHOICE.into()),
        ("UNDIM_SAY_FAILURE", abi::SAY_FAILURE.into()),
        ("UNDIM_NO_OPTION", abi::NO_OPTION.into()),
        ("UNDIM_DONE", u64::try_from(abi::STATUS_DONE).unwrap()),
        ("UNDIM_FAILED", u64::try_from(abi::STATUS_FAILED).unwrap()),
        ("sizeof(UndimText)", size_of::<abi::UndimText>() as u64),
    ];
    let mut program = String::from("#include <stdio.h>\n#include \"undim_importer.h\"\nint main(void) {\n");
    let mut expected = String::new();
    for (name, value) in named {
        writeln!(
            program,
            "  printf(\"{name} %llu\\n\", (unsigned long long)({name}));"
        )
        .unwrap();
        writeln!(expected, "{name} {value}").unwrap();
    }
    program.push_str("  return 0;\n}\n");
    assert_eq!(run_c("constants", &program), expected);
}

/// Frozen: a change of any line breaks every importer that was ever built. Fields may be added after the last one
/// of a struct (its first line grows with them); no other line may ever change.
#[cfg(target_pointer_width = "64")]
#[test]
fn the_layout_never_changes() {
    let frozen = include_str!("layout-64.txt");
    assert_eq!(rust_side(), frozen);
}

#[test]
fn every_field_is_listed() {
    // Fields stand without holes, so their sizes add up to the struct's.
    let listed = rust_side();
    let mut structs = listed.lines().filter(|line| !line.contains('.'));
    let sum_of = |noun: &str| -> usize {
        let fields = listed
            .lines()
            .filter(|line| line.starts_with(&format!("{noun}.")));
        fields
            .map(|line| line.rsplit(' ').next().unwrap().parse::<usize>().unwrap())
            .sum()
    };
    assert!(structs.all(|line| {
        let (noun, size) = line.split_once(' ').unwrap();
        sum_of(noun) == size.parse().unwrap()
    }));
}

#[test]
fn the_header_names_the_symbol() {
    assert!(abi::HEADER.contains(&format!("const UndimImporter {};", abi::SYMBOL)));
}
