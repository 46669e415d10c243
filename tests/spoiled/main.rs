//! Spoiled copies of a clean session whose two claims hold: none may come out with a wrong figure
//! or an unearned pass, and both commands must say the same of the same folder.

mod advice;
mod folder;
mod partial;
mod table;
