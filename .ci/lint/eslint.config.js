// What holds for the page's scripts: they are modules, small and strict.
import js from '@eslint/js';

const browser = [
  'atob', 'cancelAnimationFrame', 'document', 'getComputedStyle', 'matchMedia', 'requestAnimationFrame', 'window',
  'Blob', 'DecompressionStream', 'Option', 'ResizeObserver', 'Response',
];

export default [
  js.configs.recommended,
  {
    languageOptions: {
      ecmaVersion: 2022,
      sourceType: 'module',
      globals: Object.fromEntries(browser.map((name) => [name, 'readonly'])),
    },
    linterOptions: { noInlineConfig: true },
    rules: {
      complexity: ['error', 14],
      curly: ['error', 'multi-line'],
      eqeqeq: 'error',
      'max-depth': ['error', 3],
      'max-lines': ['error', 450],
      'max-lines-per-function': ['error', 45],
      'max-params': ['error', 6],
      'no-eval': 'error',
      'no-implicit-globals': 'error',
      'no-implied-eval': 'error',
      'no-param-reassign': 'error',
      'no-shadow': ['error', { builtinGlobals: false }],
      'no-var': 'error',
      'no-restricted-properties': ['error',
        { property: 'innerHTML', message: 'Text from captures is text.' },
        { property: 'outerHTML', message: 'Text from captures is text.' },
        { property: 'insertAdjacentHTML', message: 'Text from captures is text.' },
      ],
      'prefer-const': 'error',
    },
  },
];
