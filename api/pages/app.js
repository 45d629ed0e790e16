// lidwright: live figures, and nothing that a page needs to be read.
"use strict";
