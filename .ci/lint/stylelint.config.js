// What holds for the page's styles.
export default {
  extends: 'stylelint-config-standard',
  rules: {
    'custom-property-empty-line-before': null,
    'no-descending-specificity': null,
  },
};
