/* The dark look of editable grids; the grid library sets its theme by a function, not by a style sheet. */
(function () {
  "use strict";
  const functions = (window.dashAgGridFunctions = window.dashAgGridFunctions || {});
  functions.spinfloorTheme = function (_theme, agGrid) {
    return agGrid.themeQuartz.withPart(agGrid.colorSchemeDark).withParams({
      backgroundColor: "#12181c",
      foregroundColor: "#f0f5f7",
      headerBackgroundColor: "#1b242a",
      headerTextColor: "#a9bac3",
      borderColor: "#2a363e",
      accentColor: "#6fb7ff",
      fontFamily: "inherit",
      fontSize: 16,
      rowHeight: 34,
      headerHeight: 34,
      cellHorizontalPadding: 10,
    });
  };
})();
