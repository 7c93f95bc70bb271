//! The manual pages, from the same definitions as the help: one of the program, one of each command.

use super::say;
use crate::cli::{Cli, Manual};
use crate::exit::Exit;
use clap::CommandFactory;
use clap_mangen::Man;
use std::fs;
use std::io;
use std::path::Path;

pub(super) fn run(flags: &Manual) -> Exit {
    match write(&flags.dir) {
        Ok(count) => {
            say::line(&format!("{count} manual pages in {}", flags.dir.display()));
            Exit::Done
        }
        Err(error) => {
            say::error(&format!(
                "undim: the manual pages could not be written into {}: {error}; name a folder that may be written to",
                flags.dir.display()
            ));
            Exit::Folders
        }
    }
}

fn write(folder: &Path) -> io::Result<usize> {
    fs::create_dir_all(folder)?;
    let mut whole = Cli::command();
    whole.build();
    page(folder, whole.clone(), "undim")?;
    let mut count = 1;
    for command in whole.get_subcommands().filter(|command| !command.is_hide_set()) {
        if command.get_name() == "help" {
            continue;
        }
        let name = format!("undim-{}", command.get_name());
        page(folder, command.clone(), &name)?;
        count += 1;
    }
    Ok(count)
}

fn page(folder: &Path, command: clap::Command, name: &str) -> io::Result<()> {
    let mut text = Vec::new();
    // Of a title in capital letters, as manual pages have it, and without a date: the same program gives the
    // same bytes.
    Man::new(command.display_name(name.to_owned()))
        .title(name.to_uppercase())
        .source(format!("undim {}", env!("CARGO_PKG_VERSION")))
        .render(&mut text)?;
    fs::write(folder.join(format!("{name}.1")), text)
}
