import "./common.js";
