//! Stories and outside checks, with the real program and the real importers.

mod support;

mod any_order;
mod at_the_tank;
mod bad_input;
mod changes;
mod demo;
mod described;
mod explain;
mod hostile;
mod hostile_script;
mod importer_commands;
mod importer_examples;
mod importer_story;
mod kill_points;
mod light;
mod look;
mod mended;
mod mounted;
mod newcomer;
mod notes;
mod pages;
mod published;
mod rules;
mod side_by_side;
mod silence;
mod spectrum;
mod stories;
mod strict;
mod terminal;
mod tidy;
mod watch;
mod withdraw;
mod year;
