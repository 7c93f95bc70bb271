//! Reads delimited text: by a layout, or by finding out for itself.
