//! Which files of the inbox are at rest, where they belong, and how they are archived and put away.
